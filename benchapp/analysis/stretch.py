"""Statistics of a stretch of a run that the operator has brushed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class StretchStatistics:
    """Blocks of a stretch: how many, their mean and deviation; NaN where there are too few."""

    blocks: int
    mean_ohm: float
    deviation_ohm: float
    standard_uncertainty_ohm: float


def stretch_statistics(
    time_s: NDArray[np.float64], resistance_ohm: NDArray[np.float64], start_s: float, end_s: float
) -> StretchStatistics:
    """Blocks whose mean time lies within [start, end]."""
    inside = resistance_ohm[(time_s >= start_s) & (time_s <= end_s)]
    n = len(inside)
    deviation = float(inside.std(ddof=1)) if n > 1 else math.nan
    mean = float(inside.mean()) if n else math.nan
    return StretchStatistics(n, mean, deviation, deviation / math.sqrt(n) if n > 1 else math.nan)
