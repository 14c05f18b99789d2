"""An odd voltmeter of our own invention: it acknowledges every message, prompts, counts spans from one, shouts OVLD.

HELLO; WIN 20.0 (milliseconds), WIN?; SPAN 2, SPAN?; GO?
"""

from __future__ import annotations

import threading

from sim.clock import Clock
from sim.world.circuit import Circuit
from sim.world.config import Voltmeter
from sim.world.noise import VoltmeterNoise

SPANS_V = (0.002, 0.02, 0.2, 2.0, 20.0)
_PROMPT = "> "
_UNKNOWN, _BEYOND = 2, 7


class LanternVoltmeter:
    """Settings answer OK or ERR with a number; queries answer their data or ERR."""

    reply_end = "\r\n"

    def __init__(
        self, config: Voltmeter, circuit: Circuit, noise: VoltmeterNoise, clock: Clock, lock: threading.RLock
    ) -> None:
        self._config, self._circuit, self._noise = config, circuit, noise
        self.clock, self._lock = clock, lock
        self._window_ms = 100.0
        self._span = len(SPANS_V)

    def process(self, message: str) -> str | None:
        """One command; every one is answered."""
        word, _, rest = message.strip().partition(" ")
        return _PROMPT + self._answer(word, rest)

    def _answer(self, word: str, rest: str) -> str:
        if word == "HELLO":
            return "LANTERN VOLTMETER"
        if word == "WIN?":
            return f"{self._window_ms:.3f} ms"
        if word == "SPAN?":
            return f"SPAN={self._span}"
        if word == "GO?":
            return self._read()
        try:
            value = float(rest)
        except ValueError:
            return f"ERR {_UNKNOWN}"
        if word == "WIN":
            if not 0.1 <= value <= 10_000:
                return f"ERR {_BEYOND}"
            self._window_ms = value
            return "OK"
        if word == "SPAN":
            if value not in range(1, len(SPANS_V) + 1):
                return f"ERR {_BEYOND}"
            self._span = int(value)
            return "OK"
        return f"ERR {_UNKNOWN}"

    def _read(self) -> str:
        start_s = self.clock.now()
        end_s = start_s + self._window_ms / 1000
        self.clock.sleep(end_s - start_s)
        with self._lock:
            true_V = self._circuit.mean_voltage_V(start_s, end_s)
            value = self._noise.reading_V(true_V, start_s, end_s, autozero=False)
        if abs(value) > SPANS_V[self._span - 1]:
            return f"V OVLD t={end_s:.3f}"
        return f"V {value:+.8E} t={end_s:.3f}"
