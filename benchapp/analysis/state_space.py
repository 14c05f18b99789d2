"""R beside an EMF that walks at random: the estimate that needs no blocks and no order of signs.

The model is V = R*I + E + noise, with R constant and E a random walk whose steps have the variance q per usual step in
time. Differences of neighbouring readings are free of the starting value of E and have a tridiagonal covariance; its
L D L^T factors give the one-step-ahead errors of the Kalman filter and their variances. q follows from restricted
maximum likelihood, R from generalised least squares.

The interval does not trust the model: it comes from the slow cosine sums of the scores, as that of the sliding blocks
comes from their series (`slow_part`), so drift, flicker noise and curvature, which are no random walk, are covered.

Harvey, "Forecasting, structural time series models and the Kalman filter" (1989), ch. 4, cited from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.slow_part import slow_uncertainty

Floats = NDArray[np.float64]
LEAST_READINGS = 12
_MOST_COSINES = 60
_LEAST_COSINES = 3
# log10 of the variance of a walk's step over that of a reading: from "does not walk" to "only walks".
_SLOWEST, _FASTEST = -8.0, 4.0
# q of a long run comes from its first so many readings, so that a run that goes on does not search for it each time.
_SEARCHED_ALWAYS = 1000
_SEARCHED_AT_MOST = 20_000


@dataclass(frozen=True, slots=True)
class StateSpaceEstimate:
    """R in ohm with standard uncertainty and degrees of freedom, and the variances of the model in V^2."""

    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: int
    reading_variance_V2: float
    walk_variance_V2: float


def state_space(
    time_s: Floats, current_A: Floats, voltage_V: Floats, pauses: Sequence[int] = ()
) -> StateSpaceEstimate | None:
    """The estimate over a whole run; `pauses` are the indices of readings before which E may have changed at will.

    None where the readings are fewer than 12 or their currents do not determine R.
    """
    n = len(time_s)
    if n < LEAST_READINGS:
        return None
    differences = _Differences(time_s, current_A, voltage_V, pauses)
    if differences.count < LEAST_READINGS - 1 or not np.any(differences.current_A):
        return None
    searched = n if n <= _SEARCHED_ALWAYS else _checkpoint(n)
    q = _walk_ratio(
        differences
        if searched == n
        else _Differences(
            time_s[:searched], current_A[:searched], voltage_V[:searched], [p for p in pauses if p < searched]
        )
    )
    whitened = differences.whitened(q)
    information = float(whitened.current @ whitened.current)
    if not information > 0:
        return None
    resistance = float(whitened.current @ whitened.voltage) / information
    scores = whitened.current * (whitened.voltage - resistance * whitened.current)
    cosines = min(_MOST_COSINES, max(_LEAST_COSINES, differences.count // 8))
    u_mean, degrees = slow_uncertainty(scores, 1, cosines=cosines)
    # R and the walk's variance are fitted to the same readings; by simulation this makes up for it in short runs.
    u_mean *= math.sqrt(differences.count / (differences.count - 2))
    variance = whitened.variance(resistance)
    return StateSpaceEstimate(resistance, u_mean * differences.count / information, degrees, variance, q * variance)


def _checkpoint(readings: int) -> int:
    """The largest of 1000, 1100, 1210, ... that the run has reached."""
    steps = math.floor(math.log(min(readings, _SEARCHED_AT_MOST) / _SEARCHED_ALWAYS) / math.log(1.1) + 1e-9)
    return min(readings, round(_SEARCHED_ALWAYS * 1.1**steps))


@dataclass(frozen=True, slots=True)
class _Whitened:
    """Current and voltage with unit variance in units of a reading's, and the log determinant of the covariance."""

    current: Floats
    voltage: Floats
    log_determinant: float

    def variance(self, resistance_ohm: float) -> float:
        """Variance of one reading in V^2."""
        rest = self.voltage - resistance_ohm * self.current
        return float(rest @ rest) / max(1, len(rest) - 1)


class _Differences:
    """Neighbouring readings subtracted, stretch by stretch; a difference over a pause does not exist."""

    def __init__(self, time_s: Floats, current_A: Floats, voltage_V: Floats, pauses: Sequence[int]) -> None:
        steps = np.diff(time_s)
        usual = float(np.median(steps)) if len(steps) else 1.0
        kept = np.ones(len(steps), dtype=bool)
        kept[[p - 1 for p in pauses if 0 < p <= len(steps)]] = False
        places = np.flatnonzero(kept)
        self.count = len(places)
        self.current_A = np.diff(current_A)[kept]
        self._voltage_V = np.diff(voltage_V)[kept]
        self._elapsed = steps[kept] / usual if usual > 0 else np.ones(self.count)
        # Neighbours share a reading, with opposite signs.
        self._shared = np.where(np.diff(places) == 1, -1.0, 0.0)

    def whitened(self, q: float) -> _Whitened:
        """Through the factors L D L^T of the covariance q*elapsed + 2 beside -1."""
        from scipy.linalg import lapack

        diagonal, below, fault = lapack.dpttrf(q * self._elapsed + 2.0, self._shared)
        if fault:
            raise np.linalg.LinAlgError(f"the covariance of the differences has no factors at {fault}")
        banded = np.ones((2, self.count))
        banded[1, :-1] = below
        both = np.column_stack([self.current_A, self._voltage_V])
        solved, _ = lapack.dtbtrs(banded, both, uplo="L", diag="U")
        scaled = solved / np.sqrt(diagonal)[:, None]
        return _Whitened(scaled[:, 0].copy(), scaled[:, 1].copy(), float(np.log(diagonal).sum()))


def _walk_ratio(differences: _Differences) -> float:
    """Q over the variance of a reading by restricted maximum likelihood."""
    from scipy.optimize import minimize_scalar

    freedom = differences.count - 1

    def cost(log_q: float) -> float:
        whitened = differences.whitened(10.0**log_q)
        information = float(whitened.current @ whitened.current)
        if not information > 0:
            return math.inf
        variance = whitened.variance(float(whitened.current @ whitened.voltage) / information)
        return whitened.log_determinant + math.log(information) + freedom * math.log(max(variance, 1e-300))

    grid = np.linspace(_SLOWEST, _FASTEST, 13)
    costs = [cost(value) for value in grid]
    best = int(np.argmin(costs))
    low, high = grid[max(0, best - 1)], grid[min(len(grid) - 1, best + 1)]
    found = minimize_scalar(cost, bounds=(low, high), method="bounded", options={"xatol": 0.02})
    return float(10.0**found.x)


class StateSpaceSeries:
    """All readings of a run that goes on, for an estimate that needs them together; a pause is kept as its place."""

    def __init__(self) -> None:
        self._columns = np.empty((3, 1024))
        self._count = 0
        self._pauses: list[int] = []

    def extend(self, time_s: Floats, current_A: Floats, voltage_V: Floats) -> None:
        """Take readings."""
        end = self._count + len(time_s)
        if end > self._columns.shape[1]:
            grown = np.empty((3, max(end, 2 * self._columns.shape[1])))
            grown[:, : self._count] = self._columns[:, : self._count]
            self._columns = grown
        self._columns[:, self._count : end] = time_s, current_A, voltage_V
        self._count = end

    def pause(self) -> None:
        """The EMF may be another one from here on."""
        self._pauses.append(self._count)

    def estimate(self) -> StateSpaceEstimate | None:
        """The state-space estimate of all of it."""
        t, I, V = self._columns[:, : self._count]
        return state_space(t, I, V, self._pauses)
