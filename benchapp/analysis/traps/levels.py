"""What the currents themselves tell: unequal polarities, and two levels that give two resistances."""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.student import t_quantile
from benchapp.analysis.traps.run_data import Floats

_ASYMMETRY = 1e-3
_APART = 1.05  # two levels differ by this factor at least
_LEAST_BLOCKS = 8
_NON_OHMIC = 0.005


def is_asymmetric(current_A: Floats) -> bool:
    """Whether the recorded currents of both signs differ by more than a thousandth of their size."""
    plus, minus = current_A[current_A > 0], -current_A[current_A < 0]
    if not len(plus) or not len(minus):
        return False
    a, b = float(np.median(plus)), float(np.median(minus))
    return abs(a - b) > _ASYMMETRY * max(a, b)


def two_levels(time_s: Floats, current_A: Floats, blocks: Floats) -> tuple[Floats, Floats, float, float] | None:
    """Blocks at the smaller and at the larger of two current levels, and the levels; None where there is one level.

    A block belongs to the level of the reading nearest to its mean time; R of a block that holds both is of no use here
    and is told by its neighbours: blocks at a change of level are left out.
    """
    size = np.abs(current_A)
    size = size[size > 0]
    if not len(size):
        return None
    middle = math.sqrt(float(size.min()) * float(size.max()))
    low, high = float(np.median(size[size <= middle])), float(np.median(size[size >= middle]))
    if high < _APART * low:
        return None
    nearest = np.clip(np.searchsorted(time_s, blocks[0]), 1, len(time_s) - 2)
    around = np.abs(np.stack([current_A[nearest - 1], current_A[nearest], current_A[nearest + 1]]))
    around = np.where(around > 0, around, np.nan)
    small, large = np.nanmax(around, axis=0) <= middle, np.nanmin(around, axis=0) > middle
    return blocks[1][small], blocks[1][large], low, high


def is_non_ohmic(small_ohm: Floats, large_ohm: Floats) -> bool:
    """Whether the resistances at two currents differ (Welch's test at 0.5 %): not ohmic, or warmed by the current."""
    n, m = len(small_ohm), len(large_ohm)
    if min(n, m) < _LEAST_BLOCKS:
        return False
    a, b = float(small_ohm.var(ddof=1)) / n, float(large_ohm.var(ddof=1)) / m
    if a + b <= 0:
        return float(small_ohm.mean()) != float(large_ohm.mean())
    degrees = (a + b) ** 2 / (a**2 / (n - 1) + b**2 / (m - 1))
    t = abs(float(small_ohm.mean() - large_ohm.mean())) / math.sqrt(a + b)
    return t > t_quantile(1 - _NON_OHMIC / 2, degrees)


def at_zero_power(small_ohm: Floats, large_ohm: Floats, low_A: float, high_A: float) -> float:
    """R0 of R = R0 + c I^2 from two currents: what the part has where nothing warms it."""
    R1, R2 = float(small_ohm.mean()), float(large_ohm.mean())
    return (high_A**2 * R1 - low_A**2 * R2) / (high_A**2 - low_A**2)
