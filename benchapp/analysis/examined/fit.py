"""Least squares on whitened cycles, with intervals that do not rest on the model of the EMF alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.whitening import Walk, Whitener
from benchapp.analysis.slow_part import slow_uncertainty
from benchapp.analysis.student import coverage_factor

Floats = NDArray[np.float64]
_COVERAGE = 0.95
_NORMAL = 1.96
_LEAST_COSINES, _MOST_COSINES = 6, 24


@dataclass(frozen=True, slots=True)
class Term:
    """A linear combination of coefficients: its value, standard uncertainty and 95 % half-width."""

    value: float
    standard_uncertainty: float
    half_width: float

    @property
    def z(self) -> float:
        """How many standard uncertainties it is away from 0."""
        return self.value / self.standard_uncertainty if self.standard_uncertainty > 0 else math.inf


class Fit:
    """Columns by name (cycles, n) and voltages (cycles, n) under a walk; scaled, so that no unit makes it ill."""

    def __init__(self, whitener: Whitener, walk: Walk, columns: dict[str, Floats], voltage_V: Floats) -> None:
        self.names = list(columns)
        self.walk = walk
        self.cycles = len(voltage_V)
        matrix, _ = whitener.matrix(walk)
        stacked = np.stack(list(columns.values()), axis=2)
        self._columns = stacked
        self._scale = np.sqrt(np.mean(stacked**2, axis=(0, 1)))
        self._scale[self._scale == 0] = 1.0
        self._X = (matrix @ (stacked / self._scale)).reshape(-1, len(columns))
        y = (voltage_V @ matrix.T).reshape(-1)
        self._inverse = np.linalg.pinv(self._X.T @ self._X, hermitian=True)
        self._solution = self._inverse @ (self._X.T @ y)
        self._rest = y - self._X @ self._solution
        self.freedom = len(y) - len(columns)
        self.rest_squared = float(self._rest @ self._rest)

    @property
    def readings(self) -> int:
        """Whitened values."""
        return len(self._rest)

    @cached_property
    def _variance(self) -> float:
        return self.rest_squared / max(1, self.freedom)

    def term(self, **weights: float) -> Term:
        """The sum of coefficients times weights, by their names."""
        w = self._weights(weights)
        value = float(w @ self._solution)
        gain = self._X @ (self._inverse @ w)  # of each whitened value
        by_model = self.deviation(**weights)
        # What the model of the EMF does not know shows in the slow part of the scores.
        cosines = min(_MOST_COSINES, max(_LEAST_COSINES, self.cycles))
        mean, degrees = slow_uncertainty(gain * self._rest, 1, cosines=cosines)
        by_scores = mean * len(self._rest) * math.sqrt(len(self._rest) / max(1, self.freedom))
        half = max(coverage_factor(degrees, _COVERAGE) * by_scores, _NORMAL * by_model)
        return Term(value, max(by_model, half / _NORMAL), half)

    def deviation(self, **weights: float) -> float:
        """Standard deviation of such a sum by the model alone, as least squares has it."""
        gain = self._X @ (self._inverse @ self._weights(weights))
        return math.sqrt(self._variance * float(gain @ gain))

    def _weights(self, weights: dict[str, float]) -> Floats:
        found: Floats = np.array([weights.get(name, 0.0) for name in self.names]) / self._scale
        return found

    def explained_V(self) -> Floats:
        """What the columns explain of the voltages, (cycles, n); the EMF is not among them."""
        explained: Floats = self._columns @ (self._solution / self._scale)
        return explained
