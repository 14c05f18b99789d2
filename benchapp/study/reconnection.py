"""How much R scatters when the part is connected anew: runs with a reconnection before each."""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.student import chi_square_quantile, coverage_factor
from benchapp.quantity import engineering, ppm
from benchapp.study.conclusion import COVERAGE, Conclusion, Figure, StudyRun

LEAST = 6


def reconnection(runs: list[StudyRun]) -> Conclusion:
    """Mean of all connections with Student's t, and the deviation between them beside that within the runs.

    Its limits are the modified large-sample ones (F. A. Graybill, C.-M. Wang, JASA 75, 1980, cited from memory).
    """
    R, u = np.array([run.R for run in runs]), np.array([run.u for run in runs])
    n = len(R)
    mean, between = float(R.mean()), float(R.var(ddof=1))
    half = coverage_factor(n - 1, COVERAGE) * math.sqrt(between / n)
    value = Figure("R over connections", mean, mean - half, mean + half, "ohm")
    within = float((u**2).mean())
    degrees = float(np.array([max(1.0, min(run.degrees, 1e6)) for run in runs]).sum())
    low, high = _limits(between, within, n - 1, degrees)
    deviation = Figure(
        "deviation of connecting",
        math.sqrt(max(0.0, between - within)),
        math.sqrt(max(0.0, low)),
        math.sqrt(max(0.0, high)),
        "ohm",
    )
    if n < LEAST:
        text = f"{n} connections are too few: {LEAST} or more tell how R scatters."
        return Conclusion("reconnection", (value, deviation), text, tells=False)
    if deviation.low > 0:
        text = (
            f"Connecting anew moves R by {engineering(deviation.value, 'ohm', 2)} ({ppm(deviation.value, mean)}), more"
            " than the readings scatter. A single run does not show it: state the mean over connections."
        )
    else:
        text = (
            "Connecting anew moves R by no more than the readings scatter; above"
            f" {engineering(deviation.high, 'ohm', 2)} ({ppm(deviation.high, mean)}) it would have been seen."
        )
    picture = (np.arange(1.0, n + 1), R, np.full(n, mean))
    return Conclusion("reconnection", (value, deviation), text, picture=picture)


def _limits(between: float, within: float, n1: float, n2: float) -> tuple[float, float]:
    """Two-sided limits of the difference of two mean squares."""
    a = (1 - COVERAGE) / 2
    G1, G2 = 1 - n1 / chi_square_quantile(1 - a, n1), 1 - n2 / chi_square_quantile(1 - a, n2)
    H1, H2 = n1 / chi_square_quantile(a, n1) - 1, n2 / chi_square_quantile(a, n2) - 1
    low = between - within - math.sqrt((G1 * between) ** 2 + (H2 * within) ** 2)
    high = between - within + math.sqrt((H1 * between) ** 2 + (G2 * within) ** 2)
    return low, high
