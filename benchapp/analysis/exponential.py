"""Fits with one time constant: y = X(tau) b, and exact profile intervals of tau and of each coefficient.

For each tau the coefficients follow by least squares; what is left as a function of tau, over its least value, gives
the interval by Fisher's F with one degree of freedom (D. M. Bates, D. G. Watts, "Nonlinear regression analysis and its
applications", 1988, ch. 6, cited from memory). It holds where the linearised interval does not: a tau that the data
hardly reach has no upper end.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_GRID = 160
_COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class Exponential:
    """The best tau with its interval, and each coefficient with its own; `tau_low` is 0 and `tau_high` infinite where
    the range that was searched holds no end. `deviation` is that of one value about the fit.
    """

    tau: float
    tau_low: float
    tau_high: float
    coefficients: Floats  # (p,)
    low: Floats  # (p,)
    high: Floats  # (p,)
    deviation: float
    freedom: int
    rest_squared: float


def decay(time_s: Floats, tau_s: float, aperture_s: float = 0.0) -> Floats:
    """exp(-t / tau), the mean over an aperture that begins at t."""
    mean = tau_s / aperture_s * -math.expm1(-aperture_s / tau_s) if aperture_s > 0 else 1.0
    found: Floats = np.exp(-time_s / tau_s) * mean
    return found


def fit_exponential(
    columns: Callable[[float], Floats],
    y: Floats,
    shortest: float,
    longest: float,
    *,
    scale_squared: float | None = None,
    scale_freedom: int | None = None,
) -> Exponential:
    """`columns(tau)` is (n, p); tau is searched between two positive numbers. `scale_squared`, with its degrees of
    freedom, takes the place of the variance of the rest where that is not white.
    """
    from scipy.optimize import minimize_scalar
    from scipy.special import fdtri

    def solve(tau: float) -> tuple[float, Floats, Floats]:
        X = columns(tau)
        norm = np.sqrt((X**2).sum(axis=0))
        norm[norm == 0] = 1.0
        scaled = X / norm
        inverse = np.linalg.pinv(scaled.T @ scaled, hermitian=True)
        b = inverse @ (scaled.T @ y)
        # Once more on what is left, for the digits that the normal equations lose.
        b = b + inverse @ (scaled.T @ (y - scaled @ b))
        rest = y - scaled @ b
        return float(rest @ rest), b / norm, np.diag(inverse) / norm**2

    def cost(log_tau: float) -> float:
        return solve(math.exp(log_tau))[0]

    grid = np.linspace(math.log(shortest), math.log(longest), _GRID)
    costs = np.array([cost(float(x)) for x in grid])
    best = int(np.argmin(costs))
    bounds = float(grid[max(0, best - 1)]), float(grid[min(_GRID - 1, best + 1)])
    log_tau = float(minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 1e-12}).x)
    least, coefficients, _ = solve(math.exp(log_tau))
    freedom = max(1, len(y) - len(coefficients) - 1)
    variance = least / freedom if scale_squared is None else scale_squared
    factor = float(fdtri(1, freedom if scale_freedom is None else scale_freedom, _COVERAGE))
    limit = least + variance * factor
    low_end = _end(cost, limit, log_tau, grid[0])
    high_end = _end(cost, limit, log_tau, grid[-1])
    low, high = coefficients.copy(), coefficients.copy()
    for x in np.linspace(low_end, high_end, _GRID + 1):
        rest, b, inverse = solve(math.exp(float(x)))
        if rest <= limit:
            reach = np.sqrt(np.maximum(0.0, inverse * (limit - rest)))
            low, high = np.minimum(low, b - reach), np.maximum(high, b + reach)
    return Exponential(
        math.exp(log_tau),
        0.0 if low_end <= grid[0] else math.exp(low_end),
        math.inf if high_end >= grid[-1] else math.exp(high_end),
        coefficients,
        low,
        high,
        math.sqrt(least / freedom),
        freedom,
        least,
    )


def _end(cost: Callable[[float], float], limit: float, inside: float, outside: float) -> float:
    """Where the cost reaches the limit on the way from the best to one end of the range; that end where it does not."""
    steps = np.linspace(inside, float(outside), _GRID)
    previous = inside
    for x in steps[1:]:
        if cost(float(x)) > limit:
            a, b = previous, float(x)
            for _ in range(60):
                middle = (a + b) / 2
                a, b = (a, middle) if cost(middle) > limit else (middle, b)
            return a
        previous = float(x)
    return float(outside)
