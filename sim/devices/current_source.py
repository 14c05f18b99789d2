"""The simulated current source."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.scpi.errors import ScpiError
from sim.scpi.headers import boolean, choice, number
from sim.world.circuit import Circuit
from sim.world.config import Source

LIST_MEMORY = 100  # levels
_WAITING_BIT = 0x20  # STATus:OPERation bit 5, waiting for trigger, SCPI-99 vol. 1, 9.3
_VOLTAGE_BIT = 0x01  # STATus:QUEStionable bit 0, SCPI-99 vol. 1, 9.4


class CurrentSource(ScpiDevice):
    """A bipolar current source with a voltage limit. A command acts `latency_s` after it was accepted."""

    def __init__(self, config: Source, circuit: Circuit, clock: Clock, lock: threading.RLock) -> None:
        super().__init__("Generic,Current Source,0,1.0", clock, lock)
        self._config = config
        self._circuit = circuit
        self.polarity = 1.0  # what a switch behind the output makes of it; 0 while it is open
        self.least_A = -config.max_current_A  # 0 for a source of one sign
        self._complete_at = 0.0
        self.reset()
        self.add(
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
            set_=self._set_level,
            query=lambda: f"{self._fixed_A:.9E}",
            query_with=lambda text: f"{self._level_number(text):.9E}",
        )
        self.add(
            "[SOURce]:CURRent:RANGe",
            set_=self._set_range,
            query=lambda: f"{self._range_A:.6E}",
        )
        self.add(
            "[SOURce]:VOLTage:LIMit[:AMPLitude]",
            set_=self._set_compliance,
            query=lambda: f"{self._compliance_V:.6E}",
        )
        self.add(
            "[SOURce]:LIST:CURRent",
            set_list=self._set_list,
            query=lambda: ",".join(f"{level:.9E}" for level in self._list_A) or "0",
        )
        self.add("[SOURce]:LIST:CURRent:POINts", query=lambda: str(len(self._list_A)))
        self.add("[SOURce]:CURRent:MODE", set_=self._set_mode, query=lambda: self._mode)
        self.add("TRIGger[:SEQuence]:SOURce", set_=self._set_trigger, query=lambda: self._trigger)
        self.add("INITiate[:IMMediate]", do=self._initiate)
        self.add("ABORt", do=self._abort)
        self.add("*TRG", do=self._group_trigger)
        self.add("TRIGger[:SEQuence][:IMMediate]", do=self._kick)
        self.add("OUTPut[:STATe]", set_=self._set_output, query=lambda: str(int(self._output)))
        self.add("STATus:QUEStionable:CONDition", query=lambda: str(_VOLTAGE_BIT if self.limiting else 0))
        self.add("STATus:OPERation:CONDition", query=lambda: str(_WAITING_BIT if self.armed else 0))

    @property
    def output_on(self) -> bool:
        """Whether the output is on."""
        return self._output

    @property
    def limiting(self) -> bool:
        """Whether the compliance limits the current."""
        return self._output and self._circuit.in_compliance(self._level_A, self._compliance_V)

    def reset(self) -> None:
        """Output off, level 0, least compliance."""
        self._output = False
        self._level_A = self._fixed_A = 0.0
        self._range_A = self._config.max_current_A
        self._compliance_V = min(1.0, self._config.max_compliance_V)
        self._list_A: list[float] = []
        self._mode, self._trigger = "FIX", "IMM"
        self._abort()
        self._apply()

    def _abort(self) -> None:
        self.armed = False
        self.kicked_at: float | None = None
        self.list_steps = 0

    # The list, stepped by the trigger line or by a kick of the host.

    def next_level(self, time_s: float) -> bool:
        """Take the next level of the list, from `time_s` on; False at the list's end."""
        if not self.armed or self.list_steps >= len(self._list_A):
            self.armed = False
            return False
        self._level_A = self._list_A[self.list_steps]
        self.list_steps += 1
        self.armed = self.list_steps < len(self._list_A)
        self._apply_at(time_s)
        return True

    def _set_list(self, parameters: Sequence[str]) -> None:
        if len(parameters) > LIST_MEMORY:
            raise ScpiError(-223)
        self._list_A = [self._level_number(text) for text in parameters]

    def _set_mode(self, text: str) -> None:
        self._mode = choice(text, ("FIXed", "LIST"))
        if self._mode != "LIST":
            self._abort()
            self._level_A = self._fixed_A
            self._apply()

    def _set_trigger(self, text: str) -> None:
        self._trigger = choice(text, ("IMMediate", "BUS", "EXTernal"))

    def _initiate(self) -> None:
        if self._mode != "LIST" or not self._list_A:
            raise ScpiError(-221)
        if self.armed:
            raise ScpiError(-213)
        self._abort()
        self.armed = True

    def _group_trigger(self) -> None:
        if self._trigger != "BUS":
            raise ScpiError(-211)
        self._kick()

    def _kick(self) -> None:
        if not self.armed:
            raise ScpiError(-211)
        self.kicked_at = self.clock.now()

    def complete_at(self) -> float:
        """When the last accepted command has acted."""
        return self._complete_at

    def _level_number(self, text: str) -> float:
        return number(text, self.least_A, self._config.max_current_A, 0.0)

    def _set_level(self, text: str) -> None:
        self._fixed_A = self._level_number(text)
        if self._mode != "LIST":  # there the list alone says what flows
            self._level_A = self._fixed_A
            self._apply()

    def _set_range(self, text: str) -> None:
        # Ranges are decades; a request is rounded up to the next one.
        wanted = number(text, 0.0, self._config.max_current_A, self._config.max_current_A)
        decades = [self._config.max_current_A * 10.0**-k for k in range(6)]
        self._range_A = min((r for r in decades if r >= wanted * (1 - 1e-9)), default=self._config.max_current_A)

    def _set_compliance(self, text: str) -> None:
        self._compliance_V = number(text, 0.0, self._config.max_compliance_V, self._config.max_compliance_V)
        self._apply()

    def _set_output(self, text: str) -> None:
        self._output = boolean(text)
        self._apply()

    def turn(self, polarity: float) -> None:
        """The switch behind the output has moved."""
        self.polarity = polarity
        self.drive()

    def drive(self) -> None:
        """Another circuit is at the output: its level flows through that now."""
        self._apply_at(self.clock.now())

    def _apply(self) -> None:
        self._complete_at = self.clock.now() + self._config.latency_s
        self._apply_at(self._complete_at)

    def _apply_at(self, time_s: float) -> None:
        flowing = self._circuit.limited_current_A(self._level_A, self._compliance_V) if self._output else 0.0
        with self.lock:
            self._circuit.step_at(time_s, flowing * self.polarity)
