"""What the arithmetic of a live run costs at 100 readings a second, as a share of one core; and a long analysis.

Live: every reading pushed, an estimate for each batch (every 16 ms), the traps looked for as a session does, budget,
decision and stability once a second. The long analysis is given over one bare NumPy pass of the same blocks.

    python -m tests.benchmarks.live_update
"""

from __future__ import annotations

import time

import numpy as np

from benchapp.analysis.analyst import Analyst
from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.find_blocks import block_columns
from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.analysis.traps.detect import with_traps
from benchapp.result.decision import DecisionRule
from benchapp.result.statement import Terms, make_statement

_RATE = 100
_SECONDS = 600
_LONG = 1_000_000


def _readings(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    t, I = np.arange(n) / _RATE, np.resize([1.0, -1.0], n)
    return t, I, 1e-3 * I + 1e-6 + 1e-8 * rng.standard_normal(n)


def live() -> float:
    """Share of a core over ten minutes of a run: what the run itself adds up, and what its analyst does."""
    n = _RATE * _SECONDS
    readings = np.stack(_readings(n))
    running, analyst = RunningBlocks(1, 0.0), Analyst(1, 0.0, 0.01, Estimator.SLIDING)
    terms = Terms(1.0, DecisionRule(0.9e-3, 1.1e-3))
    begin = time.perf_counter()
    next_look_s = 0.0
    for start in range(0, n, _RATE // 10):
        some = readings[:, start : start + _RATE // 10]
        blocks = [block for row in some.T.tolist() if (block := running.push(*row)) is not None]
        analyst.take(some, block_columns(blocks))
        look = analyst.wants_to_look and some[0, 0] >= next_look_s
        if look:
            next_look_s = float(some[0, 0]) + 0.5
        make_statement(analyst.estimate(look=look), some[1], terms, final=False)
    return (time.perf_counter() - begin) / _SECONDS


def long() -> tuple[float, float, float]:
    """Seconds for the estimate, for the traps, and for a bare pass over the same blocks."""
    t, I, V = _readings(_LONG)
    columns = t, I, V
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
