"""What the arithmetic of a live run costs at 100 readings a second, as a share of one core; and a long analysis.

Live: every reading pushed, an estimate for each batch (every 16 ms), the traps looked for as a session does, budget,
decision and stability once a second. The long analysis is given over one bare NumPy pass of the same blocks.

    python -m tests.benchmarks.live_update
"""

from __future__ import annotations

import contextlib
import io
import tempfile
import time
from pathlib import Path

import numpy as np

from benchapp.analysis.analyst import Analyst, analyse
from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.find_blocks import block_columns, find_blocks
from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.analysis.traps.detect import with_traps
from benchapp.cli.main import main as benchapp
from benchapp.logbook.readings_csv import write_readings
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
    analyse(*(column[:3000] for column in columns))  # loads what it needs
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


def live_after(readings: int, rate: int, *, regular: bool) -> float:
    """Share of a core that the live arithmetic takes at a rate, once a run has so many readings."""
    n = readings + 10 * rate
    t, I, V = _readings(n)
    if not regular:
        I = np.random.default_rng(3).choice([-1.0, 1.0], n)
        V = 1e-3 * I + 1e-6 + 1e-8 * np.random.default_rng(4).standard_normal(n)
    data = np.stack([t * 100 / rate, I, V])
    estimator = Estimator.SLIDING if regular else Estimator.STATE_SPACE
    running, analyst = RunningBlocks(1, 0.0), Analyst(1, 0.0, 0.01, estimator)
    before, _ = find_blocks(data[:, :readings], emf_order=1, middle_A=0.0)
    analyst.take(data[:, :readings], before)
    analyst.estimate(look=True)
    terms = Terms(1.0, DecisionRule(0.9e-3, 1.1e-3))
    begin = time.perf_counter()
    for start in range(readings, n, rate // 10):
        some = data[:, start : start + rate // 10]
        blocks = [block for row in some.T.tolist() if (block := running.push(*row)) is not None]
        analyst.take(some, block_columns(blocks))
        make_statement(analyst.estimate(), some[1], terms, final=False)
    return (time.perf_counter() - begin) / 10


def of_a_file() -> tuple[float, float]:
    """Seconds that `analyse` takes for a file of a million lines, and a plain NumPy read of it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.csv"
        with path.open("w") as stream:
            write_readings(stream, np.stack(_readings(_LONG)).T.tolist())
        start = time.perf_counter()
        with contextlib.redirect_stdout(io.StringIO()):
            benchapp(["analyse", str(path)])
        middle = time.perf_counter()
        np.loadtxt(path, delimiter=",", skiprows=1)
        return middle - start, time.perf_counter() - middle


def main() -> None:
    """Print all."""
    print(f"live update at {_RATE} readings/s over {_SECONDS} s: {100 * live():.2f} % of a core (goal 0.5 %)")
    for rate in (100, 1000):
        for regular in (True, False):
            shares = [100 * live_after(n, rate, regular=regular) for n in (100, 100_000, 1_000_000)]
            kind = "regular" if regular else "irregular"
            told = ", ".join(f"{share:.2f}" for share in shares)
            print(
                f"  at {rate} readings/s, {kind} signs, after 1e2, 1e5, 1e6 readings: {told} % of a core (goal: flat)"
            )
    whole, plain = of_a_file()
    print(f"analyse of 1,000,000 lines {whole:.2f} s, a NumPy read of them {plain:.2f} s: {whole / plain:.2f} (goal 2)")
    estimate, traps, bare = long()
    print(
        f"analysis of {_LONG:,} readings: estimate {estimate:.2f} s, traps {traps:.2f} s (goal 2 s together);"
        f" bare NumPy pass {bare:.3f} s, ratio {(estimate + traps) / bare:.0f} (goal 3)"
    )


if __name__ == "__main__":
    main()
