"""The bench's time: real, faster by a factor, or virtual for tests."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Seconds of bench time."""

    def now(self) -> float:
        """Seconds since some start."""

    def sleep(self, seconds: float) -> None:
        """Let that much bench time pass."""


class ScaledClock:
    """Real time, `speed` times as fast."""

    def __init__(self, speed: float = 1.0) -> None:
        if not speed > 0:
            raise ValueError(f"speed must be above 0, not {speed}")
        self._speed = speed
        self._start = time.monotonic()

    def now(self) -> float:
        """Bench seconds since the clock was made."""
        return (time.monotonic() - self._start) * self._speed

    def sleep(self, seconds: float) -> None:
        """Wait for that many bench seconds."""
        if seconds > 0:
            time.sleep(seconds / self._speed)


class VirtualClock:
    """Time that passes only by sleeping, at once: an hour's run takes milliseconds and is exact."""

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        """Bench seconds slept so far."""
        return self._now

    def sleep(self, seconds: float) -> None:
        """Move on by that many seconds."""
        self._now += max(0.0, seconds)
