"""The simulated current source."""

from __future__ import annotations

import threading

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.scpi.headers import boolean, number
from sim.world.circuit import Circuit
from sim.world.config import Source

_VOLTAGE_BIT = 0x01  # STATus:QUEStionable bit 0, SCPI-99 vol. 1, 9.4


class CurrentSource(ScpiDevice):
    """A bipolar current source with a voltage limit. A command acts `latency_s` after it was accepted."""

    def __init__(self, config: Source, circuit: Circuit, clock: Clock, lock: threading.RLock) -> None:
        super().__init__("Generic,Current Source,0,1.0", clock, lock)
        self._config = config
        self._circuit = circuit
        self._complete_at = 0.0
        self.reset()
        self.add(
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
            set_=self._set_level,
            query=lambda: f"{self._level_A:.9E}",
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
        self.add("OUTPut[:STATe]", set_=self._set_output, query=lambda: str(int(self._output)))
        self.add("STATus:QUEStionable:CONDition", query=lambda: str(_VOLTAGE_BIT if self.limiting else 0))
        self.add("STATus:OPERation:CONDition", query=lambda: "0")

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
        self._level_A = 0.0
        self._range_A = self._config.max_current_A
        self._compliance_V = min(1.0, self._config.max_compliance_V)
        self._apply()

    def complete_at(self) -> float:
        """When the last accepted command has acted."""
        return self._complete_at

    def _level_number(self, text: str) -> float:
        return number(text, -self._config.max_current_A, self._config.max_current_A, 0.0)

    def _set_level(self, text: str) -> None:
        self._level_A = self._level_number(text)
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

    def _apply(self) -> None:
        self._complete_at = self.clock.now() + self._config.latency_s
        flowing = self._circuit.limited_current_A(self._level_A, self._compliance_V) if self._output else 0.0
        with self.lock:
            self._circuit.step_at(self._complete_at, flowing)
