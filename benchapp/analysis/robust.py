"""The mean of a series in which a few values are disturbed: Huber's estimate with the interval of the slow part.

A block that a bump has touched counts as if it lay two deviations off, no further, so a bump moves R by little however
high it is. It is not hidden: the caller is told how many blocks lie so far out that noise does not explain them.

Huber, "Robust estimation of a location parameter", Ann. Math. Stat. 35 (1964); pseudo-values for its variance as in
Huber and Ronchetti, "Robust Statistics" (2009), ch. 6, both cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.slow_part import slow_uncertainty

Floats = NDArray[np.float64]
_LIMIT = 2.0  # robust deviations; 99 % as narrow as the mean in normal noise
_OUTLYING = 6.0
_ROUNDS = 50


@dataclass(frozen=True, slots=True)
class RobustMean:
    """Location, its standard uncertainty and degrees of freedom, and how many values noise does not explain."""

    mean: float
    standard_uncertainty: float
    degrees_of_freedom: int
    outlying: int


def robust_mean(values: Floats, block_readings: float) -> RobustMean | None:
    """Huber's mean of a series whose neighbours share `block_readings` readings; None below five values."""
    if len(values) < 5:
        return None
    centre = float(np.median(values))
    deviation = 1.4826 * float(np.median(np.abs(values - centre)))
    if not deviation > 0:
        return None
    for _ in range(_ROUNDS):
        # Newton's step for the sum of limited deviations; the sum is piecewise linear, so a few rounds end it.
        scaled = (values - centre) / deviation
        inside = np.abs(scaled) < _LIMIT
        step = deviation * float(np.clip(scaled, -_LIMIT, _LIMIT).sum()) / max(1, int(inside.sum()))
        centre += step
        if abs(step) <= 1e-12 * deviation:
            break
    scaled = (values - centre) / deviation
    share = float((np.abs(scaled) < _LIMIT).mean())
    pseudo = centre + deviation * np.clip(scaled, -_LIMIT, _LIMIT) / share
    u, degrees = slow_uncertainty(pseudo, 1, block_readings)
    if math.isnan(u):
        return None
    return RobustMean(centre, u, degrees, int((np.abs(scaled) > _OUTLYING).sum()))
