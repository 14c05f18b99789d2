"""A source and a voltmeter of our own invention that keep books of a pass: steps taken, readings with their times.

Beside SCPI-99: LEDGer:STEP? of the source; LEDGer:COUNt?, LEDGer:PAIR? first,last (from 1 on) and LEDGer:WIPE of the
voltmeter.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence

from sim.clock import Clock
from sim.devices.current_source import CurrentSource
from sim.devices.voltmeter import Voltmeter
from sim.scpi.errors import ScpiError
from sim.world.circuit import Circuit
from sim.world.config import Source
from sim.world.config import Voltmeter as VoltmeterConfig
from sim.world.noise import VoltmeterNoise


class LedgerSource(CurrentSource):
    """Counts the levels of its list that it has taken."""

    def __init__(self, config: Source, circuit: Circuit, clock: Clock, lock: threading.RLock) -> None:
        super().__init__(config, circuit, clock, lock)
        self.add("LEDGer:STEP", query=lambda: str(self.list_steps))


class LedgerVoltmeter(Voltmeter):
    """Tells its readings, with their times, while a pass is under way."""

    def __init__(
        self, config: VoltmeterConfig, circuit: Circuit, noise: VoltmeterNoise, clock: Clock, lock: threading.RLock
    ) -> None:
        super().__init__(config, circuit, noise, clock, lock)
        self.add("LEDGer:COUNt", query=lambda: str(len(self.readings_V)))
        self.add("LEDGer:PAIR", query_list=self._pairs)
        self.add("LEDGer:WIPE", do=self._wipe)

    def _pairs(self, parameters: Sequence[str]) -> str:
        if len(parameters) != 2 or not all(text.isdigit() for text in parameters):
            raise ScpiError(-109)
        first, last = map(int, parameters)
        if not 1 <= first <= last <= len(self.readings_V):
            raise ScpiError(-222)
        pairs = zip(self.readings_V[first - 1 : last], self.times_s[first - 1 : last], strict=True)
        return ",".join(f"{value:.9E},{time_s:.6f}" for value, time_s in pairs)

    def _wipe(self) -> None:
        if self.armed:
            raise ScpiError(-213)
        self.readings_V.clear()
        self.times_s.clear()
