"""The simulated thermometer: the specimen's temperature, with a little noise of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.scpi.errors import ScpiError

_DURATION_S = 0.1
_NOISE_K = 0.001


class Thermometer(ScpiDevice):
    """READ? answers degrees Celsius after a tenth of a second."""

    def __init__(
        self, temperature_C: Callable[[], float], rng: np.random.Generator, clock: Clock, lock: threading.RLock
    ) -> None:
        super().__init__("Generic,Thermometer,0,1.0", clock, lock)
        self._temperature_C, self._rng = temperature_C, rng
        self.add("[SENSe]:FUNCtion[:ON]", set_=self._set_function, query=lambda: '"TEMP"')
        self.add("READ", query=self.read)

    def _set_function(self, text: str) -> None:
        if text.strip("\"'").upper() not in ("TEMP", "TEMPERATURE"):
            raise ScpiError(-224)

    def second_input(self, channels: str) -> str:
        """As an input of another instrument, named by its channel."""
        if channels.replace(" ", "") != "(@2)":
            raise ScpiError(-222)
        return self.read()

    def read(self) -> str:
        """One temperature, which takes its time."""
        self.clock.sleep(_DURATION_S)
        with self.lock:
            return f"{self._temperature_C() + _NOISE_K * self._rng.standard_normal():.6E}"
