"""Is the stated risk the real one? Runs of few degrees of freedom, parts with any true value, the verdict and its risk.

Nothing is known of the part before: its true value is drawn evenly over a stretch much wider than U about a limit. Of
all runs in which a risk near r is stated for pass (or fail), in how many is the verdict wrong?

    python -m tests.statistics.risk [RUNS]
"""

from __future__ import annotations

import math
import sys

import numpy as np

from benchapp.analysis.decision import Verdict
from benchapp.result.budget import Scope
from benchapp.result.decision import DecisionRule, decide
from benchapp.result.validity import Validity

_REACH = 25.0
_BINS = ((0.002, 0.005), (0.005, 0.02), (0.02, 0.08), (0.08, 0.25))


def stated_and_real(nu: int, runs: int) -> list[tuple[float, float, int]]:
    """Mean stated risk, share of wrong verdicts and number of runs, for each bin of stated risk."""
    rng = np.random.default_rng(nu)
    true = rng.uniform(-_REACH, _REACH, runs)
    R = true + rng.standard_normal(runs)  # u = 1; the limit is at 0, conforming is below
    u = np.sqrt(rng.chisquare(nu, runs) / nu)
    stated, wrong = np.full(runs, np.nan), np.zeros(runs, dtype=bool)
    rule = DecisionRule(high_ohm=0.0, rule="simple")
    for k in np.flatnonzero(np.abs(R) < _REACH - 5):  # beyond, the stretch's end would cut into what is counted
        found = decide(R[k], u[k], 2 * u[k], nu, rule, validity=Validity.VALID, scope=Scope.ALL)
        assert found is not None
        stated[k] = found.specific_risk
        wrong[k] = (true[k] > 0) == (found.verdict is Verdict.PASS)
    rows = []
    for low, high in _BINS:
        inside = (stated >= low) & (stated < high)
        rows.append((float(stated[inside].mean()), float(wrong[inside].mean()), int(inside.sum())))
    return rows


def main(runs: int) -> None:
    """Print stated against real."""
    print(f"stated risk : real risk = ratio, {runs} runs a row (goal: within a factor 1.3)")
    for nu in (2, 3, 5, 8, 12, 20, 30):
        cells = [f"{s:.2%} : {r:.2%} = {r / s if s else math.nan:.2f} ({n})" for s, r, n in stated_and_real(nu, runs)]
        print(f"  nu {nu:>3}  " + "   ".join(cells), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000)
