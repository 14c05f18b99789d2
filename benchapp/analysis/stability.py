"""How long averaging helps: the overlapping Allan deviation (NIST SP 1065, 5.2.4)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.student import chi_square_quantile

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AllanPoint:
    """Deviation of averages of `factor` values, with a 95 % band for white noise."""

    factor: int
    deviation: float
    low: float
    high: float


def overlapping_allan(values: Floats, factor: int) -> float:
    """sigma_y(m): root of half the mean square of (mean of the next m values - mean of these m), at every start."""
    n = len(values)
    if n < 2 * factor:
        return math.nan
    sums = np.concatenate([[0.0], np.cumsum(values - values.mean())])
    means = (sums[factor:] - sums[:-factor]) / factor
    differences = means[factor:] - means[:-factor]
    return math.sqrt(float(differences @ differences) / (2 * len(differences)))


def white_degrees_of_freedom(n: int, factor: int) -> float:
    """Equivalent degrees of freedom in white noise of the values (NIST SP 1065, Table 5; cited from memory)."""
    m = factor
    return (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m * m / (4 * m * m + 5)


def allan_series(values: Floats) -> list[AllanPoint]:
    """At octaves, up to a quarter of the series; n log n in work."""
    n, factor, found = len(values), 1, []
    while 4 * factor <= n:
        deviation = overlapping_allan(values, factor)
        degrees = max(1.0, white_degrees_of_freedom(n, factor))
        low = deviation * math.sqrt(degrees / chi_square_quantile(0.975, degrees))
        high = deviation * math.sqrt(degrees / chi_square_quantile(0.025, degrees))
        found.append(AllanPoint(factor, deviation, low, high))
        factor *= 2
    return found


def useful_averaging(points: Sequence[AllanPoint], spacing_s: float, worded: Callable[[float, str, int], str]) -> str:
    """Where the deviation bottoms, in a sentence; `worded` turns a number, its unit and digits into text."""
    if len(points) < 2:
        return "Tells how long averaging helps from the eighth block on."
    bottom = min(points, key=lambda p: p.deviation)
    after = [p for p in points if p.factor > bottom.factor]
    deviation = worded(bottom.deviation, "ohm", 2)
    rises = [p for p in after if p.low > bottom.high]
    if rises:
        return (
            f"Averaging helps up to about {worded(bottom.factor * spacing_s, 's', 2)}, where averages scatter by"
            f" {deviation}; beyond it the value wanders. More runs of that length tell more than one longer run."
        )
    longest = worded(points[-1].factor * spacing_s, "s", 2)
    return f"Averaging helps as far as this run can tell, {longest}; averages of that length scatter by {deviation}."
