"""Minimum and maximum of a growing series at several resolutions: days of readings as two points a pixel.

A spike never disappears: each point of a coarser level is the extreme of those beneath it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_FACTOR = 8
Floats = NDArray[np.float64]


class _Level:
    """Times of the group starts, minima and maxima; arrays that double."""

    def __init__(self) -> None:
        self._data = np.empty((3, 256))
        self.count = 0

    def extend(self, rows: Floats) -> None:
        end = self.count + rows.shape[1]
        if end > self._data.shape[1]:
            grown = np.empty((3, max(end, 2 * self._data.shape[1])))
            grown[:, : self.count] = self._data[:, : self.count]
            self._data = grown
        self._data[:, self.count : end] = rows
        self.count = end

    @property
    def rows(self) -> Floats:
        return self._data[:, : self.count]


class MinMaxPyramid:
    """Append (time, value) in time order; ask for a stretch at a resolution. Constant work a point, on average."""

    def __init__(self) -> None:
        self._levels = [_Level()]
        self._taken = [0]  # of each level, how many points are in the level above

    @property
    def count(self) -> int:
        """Points so far."""
        return self._levels[0].count

    def extend(self, time_s: Floats, value: Floats) -> None:
        """Add points."""
        if not len(time_s):
            return
        self._levels[0].extend(np.stack([time_s, value, value]))
        level = 0
        while self._levels[level].count - self._taken[level] >= _FACTOR:
            rows = self._levels[level].rows[:, self._taken[level] :]
            groups = rows.shape[1] // _FACTOR
            block = rows[:, : groups * _FACTOR].reshape(3, groups, _FACTOR)
            if level + 1 == len(self._levels):
                self._levels.append(_Level())
                self._taken.append(0)
            self._levels[level + 1].extend(np.stack([block[0, :, 0], block[1].min(axis=1), block[2].max(axis=1)]))
            self._taken[level] += groups * _FACTOR
            level += 1

    def stretch(self, start_s: float, end_s: float, most: int) -> tuple[Floats, Floats]:
        """The stretch as a line of at most about 2 * `most` points: (times, values).

        At the finest level that fits; coarser levels give minimum and maximum of each group one after the other. Points
        that are in no group yet are added at full resolution.
        """
        for index, level in enumerate(self._levels):
            times = level.rows[0]
            first = max(0, int(np.searchsorted(times, start_s, "left")) - 1)
            last = min(level.count, int(np.searchsorted(times, end_s, "right")) + 1)
            if last - first <= most or index + 1 == len(self._levels):
                return self._line(index, first, last, end_s)
        raise AssertionError("the coarsest level always fits")

    def _line(self, index: int, first: int, last: int, end_s: float) -> tuple[Floats, Floats]:
        rows = self._levels[index].rows[:, first:last]
        if index == 0:
            return rows[0], rows[1]
        times = np.repeat(rows[0], 2)
        values = rows[1:].T.reshape(-1)
        if last == self._levels[index].count:
            for below in range(index - 1, -1, -1):
                tail = self._levels[below].rows[:, self._taken[below] :]
                tail = tail[:, tail[0] <= end_s]
                times = np.concatenate([times, np.repeat(tail[0], 2)])
                values = np.concatenate([values, tail[1:].T.reshape(-1)])
        return times, values

    def extremes(self) -> tuple[float, float]:
        """Least and largest value of all."""
        top = self._levels[-1].rows
        tails = [level.rows[:, taken:] for level, taken in zip(self._levels[:-1], self._taken, strict=False)]
        low = min(float(part[1].min()) for part in (top, *tails) if part.shape[1])
        high = max(float(part[2].max()) for part in (top, *tails) if part.shape[1])
        return low, high
