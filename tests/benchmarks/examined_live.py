"""What the examined run's live estimate costs after an hour at 1,000 readings a second.

The peer of the ratio is the same estimate after one minute; the step rate is that of a thread that steps a simulated
link in Python, alone and beside the estimate, which rests forty times as long as its work took.

    python -m tests.benchmarks.examined_live
"""

from __future__ import annotations

import threading
import time

import numpy as np

from benchapp.analysis.examined.cycle import Cycle
from benchapp.logbook.replay import analyse_by
from benchapp.recipe import Recipe, StopRule

_RATE_HZ = 1000
_REST = 40  # as run.watcher does
_LOOK_S = 60.0


def rows(seconds: int) -> np.ndarray:
    """A run of that length."""
    cycle, rng = Cycle(), np.random.default_rng(1)
    count = seconds * _RATE_HZ // cycle.readings * cycle.readings
    parts = np.concatenate([cycle.parts, -cycle.parts])
    I = np.tile(parts, count // len(parts) + 1)[:count]
    return np.array([np.arange(count) / _RATE_HZ, I, 1e-3 * I + 1e-8 * rng.standard_normal(count)])


def once(readings: np.ndarray) -> float:
    """Seconds of one live estimate."""
    recipe = Recipe(1.0, examine=True, stop=StopRule(None, cycles=10**6), nplc=0.025)
    began = time.perf_counter()
    t, I, V = readings
    found, _ = analyse_by(recipe, t, I, V, [], live=True)
    assert found.examined is not None
    return time.perf_counter() - began


def steps_per_s(seconds: float, beside: np.ndarray | None) -> float:
    """Of a thread that makes and takes apart messages as a driver does."""
    stop = threading.Event()

    def estimate() -> None:
        assert beside is not None
        while not stop.is_set():
            spent = once(beside)
            stop.wait(_REST * spent)

    other = threading.Thread(target=estimate) if beside is not None else None
    if other is not None:
        other.start()
    count, end = 0, time.perf_counter() + seconds
    while time.perf_counter() < end:
        message = f":SOUR:CURR {1e-3 * (-1) ** count!r};*OPC?"
        float(message.split(" ")[1].split(";")[0])
        time.sleep(0.0002)  # as a wire waits
        count += 1
    stop.set()
    if other is not None:
        other.join()
    return count / seconds


def main() -> None:
    """Print the figures."""
    minute, hour = rows(60), rows(3600)
    once(minute)
    short, long = (min(once(one) for _ in range(3)) for one in (minute, hour))
    ratio = f"{long / short:.1f} times"
    print(f"one live estimate: {short:.2f} s after a minute, {long:.2f} s after an hour at {_RATE_HZ}/s: {ratio}")
    print(f"of a core: {1 / (1 + _REST):.1%}, a new estimate every {_REST * long + long:.0f} s after an hour")
    alone, beside = steps_per_s(_LOOK_S, None), steps_per_s(_LOOK_S, hour)
    print(f"steps of a Python thread: {alone:.0f}/s alone, {beside:.0f}/s beside it: {beside / alone:.3f}")


if __name__ == "__main__":
    main()
