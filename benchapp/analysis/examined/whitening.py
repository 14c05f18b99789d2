"""Readings of a cycle made independent: white noise on a thermal EMF whose level and whose slope both walk at random.

Every cycle has the same times and is taken by itself: level and slope at its start are free, so that nothing of the EMF
passes from one to the next, and one matrix whitens all of them. The variances of the two walks, in units of a
reading's, are found by restricted maximum likelihood, on a grid and then between its points.

Harvey, "Forecasting, structural time series models and the Kalman filter" (1989), ch. 2 and 4, cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_LEVELS = np.array([0.0, *10.0 ** np.arange(-3.0, 3.0)])  # of the level, in a reading's variance per usual step in time
_SLOPES = np.array([0.0, *10.0 ** np.arange(-6.0, 2.0)])
_FINER = np.array([0.25, 0.5, 2.0, 4.0])


@dataclass(frozen=True, slots=True)
class Walk:
    """Variances of the steps of level and slope, in those of a reading, over the usual step in time."""

    level: float
    slope: float


class Whitener:
    """For cycles with these times in s, from 0; made once for all models of a run."""

    def __init__(self, time_s: Floats) -> None:
        t = (time_s - time_s[0]) / float(np.median(np.diff(time_s)))
        shorter = np.minimum.outer(t, t)
        longer = np.maximum.outer(t, t)
        # Of a walk the covariance is the shorter time; of one that is summed up, s^2 (3 l - s) / 6.
        self._level, self._slope = shorter, shorter**2 * (3 * longer - shorter) / 6
        basis, _ = np.linalg.qr(np.column_stack([np.ones(len(t)), t]), mode="complete")
        self._free = basis[:, 2:].T  # what neither level nor slope passes
        self._known: dict[Walk, tuple[Floats, float]] = {}

    def matrix(self, walk: Walk) -> tuple[Floats, float]:
        """The matrix (n - 2, n) that whitens a cycle, and the log determinant of its covariance."""
        found = self._known.get(walk)
        if found is None:
            n = len(self._level)
            covariance = np.eye(n) + walk.level * self._level + walk.slope * self._slope
            factor = np.linalg.cholesky(self._free @ covariance @ self._free.T)
            whitening = np.linalg.solve(factor, self._free)
            found = self._known[walk] = whitening, 2 * float(np.log(np.diag(factor)).sum())
        return found

    def likeliest(self, columns: Floats, voltage_V: Floats) -> Walk:
        """`columns` (cycles, n, p) and `voltage_V` (cycles, n): the walk under which the least is left unexplained."""
        best = min(
            (Walk(float(level), float(slope)) for level in _LEVELS for slope in _SLOPES),
            key=lambda walk: self._cost(walk, columns, voltage_V),
        )
        around = [
            Walk(float(level), float(slope))
            for level in {best.level, *(best.level * _FINER)}
            for slope in {best.slope, *(best.slope * _FINER)}
        ]
        return min(around, key=lambda walk: self._cost(walk, columns, voltage_V))

    def _cost(self, walk: Walk, columns: Floats, voltage_V: Floats) -> float:
        matrix, log_determinant = self.matrix(walk)
        X = (matrix @ columns).reshape(-1, columns.shape[2])
        y = (voltage_V @ matrix.T).reshape(-1)
        information = X.T @ X
        rest = y @ y - y @ X @ np.linalg.lstsq(information, X.T @ y, rcond=None)[0]
        sign, log_information = np.linalg.slogdet(information)
        freedom = len(y) - X.shape[1]
        if sign <= 0 or not rest > 0:
            return np.inf
        return float(freedom * np.log(rest / freedom) + len(voltage_V) * log_determinant + log_information)
