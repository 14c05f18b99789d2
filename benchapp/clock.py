"""Time as a parameter: the real clock, or one that runs faster together with a simulated bench."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Seconds of bench time."""

    def now(self) -> float:
        """Seconds since some start."""

    def sleep(self, seconds: float) -> None:
        """Wait for that many bench seconds."""


class ScaledClock:
    """Real time, `speed` times as fast."""

    def __init__(self, speed: float = 1.0) -> None:
        self._speed = speed
        self._start = time.monotonic()

    def now(self) -> float:
        """Bench seconds since the clock was made."""
        return (time.monotonic() - self._start) * self._speed

    def sleep(self, seconds: float) -> None:
        """Wait for that many bench seconds."""
        if seconds > 0:
            time.sleep(seconds / self._speed)
