"""Settling, drifting or steady: what the blocks' values do over the run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum

import numpy as np

from benchapp.analysis.running import Moments
from benchapp.analysis.student import t_quantile

MIN_BLOCKS = 5
SIGNIFICANCE = 0.01
# Transients that die within the run, as fractions of its length; a longer one cannot be told from a drift.
_TIME_CONSTANTS = (0.03, 0.1, 0.3)


class Stationarity(StrEnum):
    """How far the value can be taken as one value."""

    SETTLING = "settling"
    DRIFTING = "drifting"
    STEADY = "steady"


def drift_is_significant(blocks: Moments) -> bool:
    """Two-sided t test of the slope of R at 1 %."""
    u = blocks.slope_standard_uncertainty_per_s
    if not u > 0:
        return bool(u == 0 and blocks.slope_per_s != 0)
    return abs(blocks.slope_per_s) / u > t_quantile(1 - SIGNIFICANCE / 2, blocks.count - 2)


def judge(blocks: Moments, series: Sequence[float]) -> Stationarity:
    """State of a run from its blocks' moments and their (compacted) series in time order."""
    if blocks.count < MIN_BLOCKS:
        return Stationarity.SETTLING
    drifting = drift_is_significant(blocks)
    if _starts_with_transient(np.asarray(series, dtype=float)):
        return Stationarity.SETTLING
    return Stationarity.DRIFTING if drifting else Stationarity.STEADY


def _starts_with_transient(y: np.ndarray) -> bool:
    """Whether a decaying exponential since the start is significant, and a clearly better account than a line."""
    n = len(y)
    if n < MIN_BLOCKS:
        return False
    x = (np.arange(n) + 0.5) / n
    line = _rest_of_fit(y, x)
    limit = t_quantile(1 - SIGNIFICANCE / (2 * len(_TIME_CONSTANTS)), n - 2)
    total = float(np.sum((y - y.mean()) ** 2))
    for tau in _TIME_CONSTANTS:
        rest = _rest_of_fit(y, np.exp(-x / tau))
        if rest <= 0:
            return total > 0 and line > 0
        t_squared = (total - rest) / rest * (n - 2)
        if t_squared > limit**2 and n * math.log(line / rest) > 4:
            return True
    return False


def _rest_of_fit(y: np.ndarray, shape: np.ndarray) -> float:
    """Residual sum of squares of y = a + b*shape."""
    dy, ds = y - y.mean(), shape - shape.mean()
    return max(0.0, float(dy @ dy - (dy @ ds) ** 2 / (ds @ ds)))
