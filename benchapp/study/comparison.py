"""A part against a standard, connected in turns: run by run, the standard first and last."""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.student import coverage_factor
from benchapp.analysis.turns import ratio_in_turns
from benchapp.quantity import ppm
from benchapp.study.conclusion import COVERAGE, Conclusion, Figure, StudyRun


def comparison(runs: list[StudyRun]) -> Conclusion:
    """Of an odd number of runs, in turns: standard, part, standard, ..."""
    t = np.array([run.started_s + float(run.rows[0].mean()) for run in runs])
    standard = [index % 2 == 0 for index in range(len(runs))]
    R = [run.R for run in runs]
    try:
        found = ratio_in_turns(t, standard, R)
    except ValueError as error:
        return Conclusion("comparison", (), f"{str(error)[0].upper()}{str(error)[1:]}.", tells=False)
    half = coverage_factor(found.degrees_of_freedom, COVERAGE) * found.standard_uncertainty
    ratio = Figure("ratio to the standard", found.ratio, found.ratio - half, found.ratio + half, "1")
    drift = found.drift_per_s * float(t[-1] - t[0])
    text = (
        f"The part is {found.ratio:.{_digits(half)}f} times the standard, ± {ppm(half, found.ratio)}. What both have in"
        f" common drifted by {ppm(drift, 1.0)} meanwhile, and falls out."
    )
    return Conclusion("comparison", (ratio,), text, picture=(t, np.array(R) / R[0], np.ones(len(R))))


def _digits(half: float) -> int:
    return min(12, max(2, 1 - math.floor(math.log10(half)))) if half > 0 else 6
