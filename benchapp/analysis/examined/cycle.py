"""The currents of an examined run: dwells of several readings at the working current, a few long ones, half the current
and none, over and over, each cycle with the other sign first.

The shares were chosen by simulation: half the current is held for a sixth of the readings, zero for a twenty-fifth; the
long dwells show what settles slowly. No current is above the working one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

LEAST_CYCLES = 5
SKIPPED = 4  # readings of a dwell from which R is not taken: each has a settling of its own
LONGEST_DWELL = 24
HELD_UP_TO_S = 1.0  # of an aperture: then each sign is held before the run
# Part of the working current, and for how many readings.
DWELLS = ((1, 8), (-1, 8), (1, 8), (-1, 8), (0, 4), (0.5, 8), (-0.5, 8), (1, LONGEST_DWELL), (-1, LONGEST_DWELL))
THIRD_LEVEL = ((0.25, 8), (-0.25, 8))


@dataclass(frozen=True, slots=False)
class Cycle:
    """One cycle, and from it any reading's place. `third` adds dwells at a quarter of the current."""

    third: bool = False

    @cached_property
    def parts(self) -> NDArray[np.float64]:
        """The current of each reading of the first cycle, as part of the working one."""
        dwells = (*DWELLS, *THIRD_LEVEL) if self.third else DWELLS
        return np.concatenate([np.full(count, float(part)) for part, count in dwells])

    @property
    def readings(self) -> int:
        """Of one cycle."""
        return len(self.parts)

    def part(self, index: int) -> float:
        """The current of reading `index` of a run."""
        cycle, place = divmod(index, self.readings)
        return float(self.parts[place]) * (-1.0 if cycle % 2 else 1.0)

    def fits(self, current_A: NDArray[np.float64]) -> bool:
        """Whether a run's currents are these, from its first reading on, within a tenth of the largest."""
        numbers = np.arange(len(current_A))
        signs = np.where(numbers // self.readings % 2, -1.0, 1.0)
        nominal = signs * self.parts[numbers % self.readings]
        return bool((np.abs(current_A - nominal * np.abs(current_A).max()) < 0.1 * np.abs(current_A).max()).all())

    @cached_property
    def positions(self) -> NDArray[np.intp]:
        """Of each reading of a cycle, how many came before it in its dwell."""
        starts = np.flatnonzero(np.concatenate([[True], np.diff(self.parts) != 0]))
        lengths = np.diff([*starts.tolist(), self.readings])
        return np.concatenate([np.arange(length) for length in lengths])
