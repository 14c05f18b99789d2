"""The currents of a run by sign and level: a level as set, or as read back with noise, is one level.

Zero is what lies below a hundredth of the largest current. Levels of one sign are told apart where they lie further
than 2 % from each other, and further than their own scatter; a "change" is a change of sign or level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_ZERO = 0.01
_APART = 0.02
_MOST_LEVELS = 12
_SAMPLED = 8192
LONGEST_PERIOD = 64  # a longer sequence of signs counts as irregular


def is_change(step_A: float, largest_A: float) -> bool:
    """Whether a step between two readings is one of sign or level, and no noise of a current that is read back."""
    return abs(step_A) > _APART * largest_A


def changes(current_A: Floats) -> NDArray[np.bool_]:
    """`is_change` for each reading after the first, with the largest current of all."""
    largest = max(float(current_A.max()), -float(current_A.min())) if len(current_A) else 0.0
    found: NDArray[np.bool_] = np.abs(np.diff(current_A)) > _APART * largest
    return found


def sign_period(current_A: Floats) -> int:
    """Smallest period of signs and levels up to `LONGEST_PERIOD` readings; 0 where there is none."""
    group = level_groups(current_A).group
    for period in range(1, min(LONGEST_PERIOD, len(group) // 2) + 1):
        # Most periods are refuted by the first readings.
        if np.array_equal(group[period : period + 256], group[:256][: len(group) - period]) and np.array_equal(
            group[period:], group[:-period]
        ):
            return period
    return 0


@dataclass(frozen=True, slots=True)
class LevelGroups:
    """`group` numbers each reading's level, `levels_A` holds the levels' means; the lowest current has number 0."""

    group: NDArray[np.intp]
    levels_A: tuple[float, ...]

    @property
    def changed(self) -> NDArray[np.bool_]:
        """Whether reading k + 1 is at another level than reading k."""
        found: NDArray[np.bool_] = self.group[1:] != self.group[:-1]
        return found

    @property
    def sizes_A(self) -> tuple[float, ...]:
        """Sizes of the currents other than zero, each once, the smallest first; both signs of a size count as one."""
        sizes: list[float] = []
        for size in sorted(abs(level) for level in self.levels_A if level):
            if not sizes or size > sizes[-1] * (1 + _APART):
                sizes.append(size)
        return tuple(sizes)


def level_groups(current_A: Floats) -> LevelGroups:
    """Sort the readings by their current; of a long run a sample tells the levels."""
    if len(current_A) <= _SAMPLED:
        return _grouped(current_A)
    # An odd stride, so that no regular sequence hides a sign from it.
    sample = _grouped(current_A[:: len(current_A) // _SAMPLED | 1])
    levels = np.array(sample.levels_A)
    if len(levels) < 2:
        return LevelGroups(np.zeros(len(current_A), dtype=np.intp), sample.levels_A)
    return LevelGroups(np.searchsorted((levels[1:] + levels[:-1]) / 2, current_A), sample.levels_A)


def _grouped(current_A: Floats) -> LevelGroups:
    values, inverse, counts = np.unique(current_A, return_inverse=True, return_counts=True)
    if not len(values):
        return LevelGroups(np.empty(0, dtype=np.intp), ())
    largest = float(np.abs(values).max())
    zero = np.abs(values) < _ZERO * largest
    sizes = np.maximum(np.abs(values[1:]), np.abs(values[:-1]))
    starts = (np.diff(values) > _APART * sizes) | (zero[1:] != zero[:-1])
    number = np.concatenate([[0], np.cumsum(starts)])
    if number[-1] + 1 > _MOST_LEVELS:
        # A current that wanders has no levels: its signs are all that can be told apart.
        sign = np.where(zero, 0, np.sign(values)).astype(int)
        _, number = np.unique(sign, return_inverse=True)
    weight = np.bincount(number, counts)
    means = np.bincount(number, counts * values) / weight
    is_zero = np.array([bool(zero[number == k].all()) for k in range(len(means))])
    levels = tuple(0.0 if z else float(m) for z, m in zip(is_zero, means, strict=True))
    return LevelGroups(number[inverse.reshape(-1)], levels)


def since_change(changed: NDArray[np.bool_]) -> NDArray[np.intp]:
    """How many readings each one is after the last change of the current; `changed` is of each after the first."""
    place = np.arange(len(changed) + 1)
    last = np.where(np.concatenate([[True], changed]), place, 0)
    found: NDArray[np.intp] = place - np.maximum.accumulate(last)
    return found
