"""How often does the interval of a comparison hold the truth, by turns, readings a turn, and drift?

A cell in which the program says that it cannot see such a drift is not claimed: it is printed in parentheses.

    python -m tests.statistics.comparisons [RUNS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchapp.analysis.analyst import analyse
from benchapp.analysis.comparison import Turn, compare

_DT = 0.1
_S, _X = 1000.0, 2500.0  # in units of the noise of one reading, at a current of 1
_DRIFTS = {"none": (0.0, 0.0), "linear": (2e-3, 0.0), "curved": (1e-3, 2e-3)}
ORDERS = ("SXS", "XSSX", "SXSXS")


def cell(order: str, readings: int, drift: str, runs: int, seed: int) -> tuple[int, bool]:
    """Intervals that hold the truth, and whether the turns see a drift of second order."""
    rng = np.random.default_rng([seed, readings])
    linear, curved = _DRIFTS[drift]
    length = readings * _DT
    pitch = 1.5 * length
    whole = pitch * len(order)
    hits, sees = 0, False
    for _ in range(runs):
        turns = []
        for number, letter in enumerate(order):
            t = np.arange(readings) * _DT
            tau = (t + number * pitch) / whole - 0.5
            gain = 1 + linear * tau + curved * tau * tau
            I = np.resize([1.0, -1.0], readings)
            R = _S if letter == "S" else _X
            V = gain * R * I + rng.standard_normal(readings) + 5.0
            estimate, _ = analyse(t.tolist(), I.tolist(), V.tolist(), middle_A=0.0)
            at = number * pitch + float(t.mean())
            u, nu = estimate.standard_uncertainty_ohm, estimate.degrees_of_freedom
            turns.append(Turn(at, letter == "S", estimate.resistance_ohm, u, nu))
        found = compare(turns)
        sees = found.sees_curvature
        hits += abs(found.ratio - _X / _S) <= found.half_width()
    return hits, sees


def main(runs: int) -> None:
    """Print the table."""
    print(f"95 % intervals of R_X / R_S that hold the truth, {runs} runs a cell; in parentheses: not claimed, and said")
    pooled = []
    with ProcessPoolExecutor() as pool:
        for order in ORDERS:
            for drift in _DRIFTS:
                jobs = [pool.submit(cell, order, n, drift, runs, k) for k, n in enumerate((12, 24, 120))]
                cells = []
                for job in jobs:
                    hits, sees = job.result()
                    claimed = sees or drift != "curved"
                    if claimed:
                        pooled.append(hits / runs)
                    text = f"{hits / runs:.1%}"
                    cells.append(text if claimed else f"({text})")
                print(f"  {order:<6} drift {drift:<8}" + "".join(f"{text:>10}" for text in cells), flush=True)
    print(f"pooled over what is claimed: {sum(pooled) / len(pooled):.1%} (goal 94 %)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
