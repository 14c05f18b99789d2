"""An odd current source of our own invention: milliamperes, a verb for each state, faults as bits, no SCPI at all.

WHO; I 12.5, I?; RNG 2, RNG?; CLAMP 1.5, CLAMP?; DRIVE, REST, DRIVING?; CLAMPED?; BUSY?; FAULTS?
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from sim.clock import Clock
from sim.world.circuit import Circuit
from sim.world.config import Source

RANGES_A = (0.001, 0.01, 0.1, 1.0, 10.0)
_UNKNOWN, _BEYOND = 0x01, 0x02


class QuillSource:
    """Takes one command a message; what it does not know it answers with a bit in FAULTS? and with nothing else."""

    reply_end = "\r\n"

    def __init__(self, config: Source, circuit: Circuit, clock: Clock, lock: threading.RLock) -> None:
        self._config, self._circuit = config, circuit
        self.clock, self._lock = clock, lock
        self._faults = 0
        self._busy_until = 0.0
        self._level_mA = 0.0
        self._clamp_V = 0.1
        self._range = len(RANGES_A) - 1
        self._output = False
        self._words: dict[str, Callable[[], str | None]] = {
            "WHO": lambda: "QUILL CURRENT SOURCE 3",
            "I?": lambda: f"I = {self._level_mA:+.6f} mA",
            "RNG?": lambda: f"RNG {self._range}",
            "CLAMP?": lambda: f"CLAMP = {self._clamp_V:.4f} V",
            "DRIVING?": lambda: "YES" if self._output else "NO",
            "CLAMPED?": lambda: "YES" if self.limiting else "NO",
            "BUSY?": lambda: "1" if self.clock.now() < self._busy_until else "0",
            "FAULTS?": self._take_faults,
            "DRIVE": lambda: self._switch(on=True),
            "REST": lambda: self._switch(on=False),
        }
        self._settings: dict[str, Callable[[float], None]] = {
            "I": self._set_level,
            "RNG": self._set_range,
            "CLAMP": self._set_clamp,
        }

    @property
    def output_on(self) -> bool:
        """Whether the output is on."""
        return self._output

    @property
    def limiting(self) -> bool:
        """Whether the clamp limits the current."""
        return self._output and self._circuit.in_compliance(self._level_mA / 1000, self._clamp_V)

    def process(self, message: str) -> str | None:
        """One command; the reply, or None."""
        word, _, rest = message.strip().partition(" ")
        if not rest and word in self._words:
            return self._words[word]()
        try:
            self._settings[word](float(rest))
        except (KeyError, ValueError):
            self._faults |= _UNKNOWN
        return None

    def _take_faults(self) -> str:
        value, self._faults = self._faults, 0
        return str(value)

    def _set_level(self, value: float) -> None:
        if abs(value) / 1000 > RANGES_A[self._range] * 1.0001:
            self._faults |= _BEYOND
            return
        self._level_mA = value
        self._apply()

    def _set_range(self, value: float) -> None:
        if value != int(value) or not 0 <= value < len(RANGES_A):
            self._faults |= _BEYOND
            return
        self._range = int(value)

    def _set_clamp(self, value: float) -> None:
        if not 0 < value <= self._config.max_compliance_V:
            self._faults |= _BEYOND
            return
        self._clamp_V = value
        self._apply()

    def _switch(self, *, on: bool) -> None:
        self._output = on
        self._apply()

    def drive(self) -> None:
        """Another circuit is at the output: its level flows through that now."""
        self._apply_at(self.clock.now())

    def _apply(self) -> None:
        self._busy_until = self.clock.now() + self._config.latency_s
        self._apply_at(self._busy_until)

    def _apply_at(self, time_s: float) -> None:
        flowing = self._circuit.limited_current_A(self._level_mA / 1000, self._clamp_V) if self._output else 0.0
        with self._lock:
            self._circuit.step_at(time_s, flowing)
