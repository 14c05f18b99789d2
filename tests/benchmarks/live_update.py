"""What the arithmetic of a live run costs at 100 readings a second, as a share of one core; and a long analysis.

Live: every reading pushed, an estimate for each batch (every 16 ms), the traps looked for as a session does, budget,
decision and stability once a second. The long analysis is given over one bare NumPy pass of the same blocks.

    python -m tests.benchmarks.live_update
"""

from __future__ import annotations

import time

import numpy as np

from benchapp.analysis.estimate import RunningEstimate, estimate_readings
from benchapp.analysis.stability import allan_series
from benchapp.analysis.traps.detect import with_traps
from benchapp.result.budget import BudgetPlan, with_budget
from benchapp.result.decision import decide

_RATE = 100
_SECONDS = 600
_LONG = 1_000_000


def _readings(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    t, I = np.arange(n) / _RATE, np.resize([1.0, -1.0], n)
    return t, I, 1e-3 * I + 1e-6 + 1e-8 * rng.standard_normal(n)


def live() -> float:
    """Share of a core over ten minutes of a run."""
    n = _RATE * _SECONDS
    t, I, V = _readings(n)
    running = RunningEstimate(1, 0.0)
    blocks: list[tuple[float, ...]] = []
    next_look, since_look, spent = 30, 0.0, 0.0
    for k in range(n):
        start = time.perf_counter()
        block = running.push(float(t[k]), float(I[k]), float(V[k]))
        if block is not None:
            blocks.append(block)
        if k % 2 == 1:  # a batch every 16 ms holds one to two readings
            estimate = running.estimate()
        if k >= next_look and t[k] >= since_look:
            began = time.perf_counter()
            with_traps(estimate, t[:k], I[:k], V[:k], np.array(blocks).T, cross_checked=300)
            next_look = round(1.5 * k)
            since_look = float(t[k]) + max(0.5, 40 * (time.perf_counter() - began))
        if k % _RATE == 0 and len(blocks) > 8:
            finished, _ = with_budget(estimate, 1.0, BudgetPlan())
            decide(finished, 0.9e-3, 1.1e-3, "guarded", 1.0)
            allan_series(np.array([row[1] for row in blocks[-20_000:]]))
        spent += time.perf_counter() - start
    return spent / _SECONDS


def long() -> tuple[float, float, float]:
    """Seconds for the estimate, for the traps, and for a bare pass over the same blocks."""
    t, I, V = _readings(_LONG)
    columns = t.tolist(), I.tolist(), V.tolist()
    start = time.perf_counter()
    estimate, blocks = estimate_readings(*columns)
    middle = time.perf_counter()
    with_traps(estimate, *columns, blocks)
    end = time.perf_counter()
    T, C, U = (column[: _LONG // 3 * 3].reshape(-1, 3) for column in (t, I, V))
    tau = T - T.mean(axis=1, keepdims=True)
    z = C - C.mean(axis=1, keepdims=True)
    z = z - (C * tau).sum(axis=1, keepdims=True) / (tau * tau).sum(axis=1, keepdims=True) * tau
    R = (z * U).sum(axis=1) / (z * z).sum(axis=1)
    assert abs(float(R.mean()) - 1e-3) < 1e-9
    return middle - start, end - middle, time.perf_counter() - end


def main() -> None:
    """Print both."""
    print(f"live update at {_RATE} readings/s over {_SECONDS} s: {100 * live():.2f} % of a core (goal 5 %)")
    estimate, traps, bare = long()
    print(
        f"analysis of {_LONG:,} readings: estimate {estimate:.2f} s, traps {traps:.2f} s (goal 2 s together);"
        f" bare NumPy pass {bare:.3f} s, ratio {(estimate + traps) / bare:.0f} (goal 3)"
    )


if __name__ == "__main__":
    main()
