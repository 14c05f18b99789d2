"""What the currents themselves tell: unequal polarities, and two levels that give two resistances."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.levels import level_groups
from benchapp.analysis.student import t_quantile
from benchapp.analysis.traps.run_data import Floats

_ASYMMETRY = 1e-3
_LEAST_BLOCKS = 8
_NON_OHMIC = 0.005


def is_asymmetric(current_A: Floats) -> bool:
    """Whether the recorded currents of both signs differ by more than a thousandth of their size."""
    plus, minus = current_A[current_A > 0], -current_A[current_A < 0]
    if not len(plus) or not len(minus):
        return False
    a, b = float(np.median(plus)), float(np.median(minus))
    return abs(a - b) > _ASYMMETRY * max(a, b)


@dataclass(frozen=True, slots=True)
class ByLevel:
    """Blocks of a run at several sizes of current: which are of one size alone, and of which.

    `size` numbers each block's size, -1 where it holds several; `sizes_A` are the sizes, `resistance_ohm` the median R
    at each. `of_reading` numbers each reading's size, -1 at zero current.
    """

    size: NDArray[np.intp]
    sizes_A: tuple[float, ...]
    resistance_ohm: Floats
    of_reading: NDArray[np.intp]


def by_level(time_s: Floats, current_A: Floats, blocks: Floats) -> ByLevel | None:
    """The blocks sorted by the size of their current; None where there is one size, or too few blocks of each.

    A block spans half its readings on either side of its mean time.
    """
    groups = level_groups(current_A)
    sizes = groups.sizes_A
    if len(sizes) < 2:
        return None
    nearest = [int(np.argmin([abs(abs(level) - size) for size in sizes])) if level else -1 for level in groups.levels_A]
    of_reading = np.array(nearest)[groups.group]
    middle = np.clip(np.searchsorted(time_s, blocks[0]), 1, len(time_s) - 2)
    around = np.stack([of_reading[middle - 1], of_reading[middle], of_reading[middle + 1]])
    highest = around.max(axis=0)
    alone = ((around == highest) | (around == -1)).all(axis=0)
    size = np.where(alone, highest, -1)
    counts = [int((size == k).sum()) for k in range(len(sizes))]
    if min(counts) < _LEAST_BLOCKS:
        return None
    medians = np.array([float(np.median(blocks[1][size == k])) for k in range(len(sizes))])
    return ByLevel(size, sizes, medians, of_reading)


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
