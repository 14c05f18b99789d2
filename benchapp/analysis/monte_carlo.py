"""Propagation of distributions by Monte Carlo (JCGM 101:2008), and its validation of the budget's interval."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Floats]


def normal(mean: float, u: float) -> Draw:
    """N(mean, u^2)."""
    return lambda rng, n: rng.normal(mean, u, n)


def rectangular(mean: float, half_width: float) -> Draw:
    """R(mean - a, mean + a)."""
    return lambda rng, n: rng.uniform(mean - half_width, mean + half_width, n)


def triangular(mean: float, half_width: float) -> Draw:
    """T(mean - a, mean + a)."""
    return lambda rng, n: rng.triangular(mean - half_width, mean, mean + half_width, n)


def arcsine(mean: float, half_width: float) -> Draw:
    """U-shaped between mean - a and mean + a."""
    return lambda rng, n: mean + half_width * np.sin(rng.uniform(-math.pi / 2, math.pi / 2, n))


def curvilinear_trapezoid(low: float, high: float, inexactness: float) -> Draw:
    """Rectangular with ends that are themselves known to +- `inexactness` only (JCGM 101, 6.4.3)."""

    def draw(rng: np.random.Generator, n: int) -> Floats:
        start = low - inexactness + 2 * inexactness * rng.random(n)
        drawn: Floats = start + (low + high - 2 * start) * rng.random(n)
        return drawn

    return draw


def student(mean: float, u: float, degrees_of_freedom: float) -> Draw:
    """Scaled and shifted t, for a mean of few readings (JCGM 101, 6.4.9)."""
    return lambda rng, n: mean + u * rng.standard_t(degrees_of_freedom, n)


@dataclass(frozen=True, slots=True)
class Propagated:
    """Mean, standard uncertainty, and the probabilistically symmetric and shortest coverage intervals."""

    mean: float
    standard_uncertainty: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float


def propagate(
    model: Callable[..., Floats],
    inputs: Mapping[str, Draw],
    *,
    coverage_probability: float = 0.95,
    trials: int = 1_000_000,
    seed: int = 1,
) -> Propagated:
    """Draw every input `trials` times and put them through the model, which takes them by name as arrays."""
    rng = np.random.default_rng(seed)
    y = np.sort(model(**{name: draw(rng, trials) for name, draw in inputs.items()}))
    inside = round(coverage_probability * trials)
    outside = trials - inside
    start = (outside + 1) // 2
    widths = y[inside:] - y[: trials - inside]
    shortest = int(np.argmin(widths))
    return Propagated(
        float(y.mean()),
        float(y.std(ddof=1)),
        float(y[start - 1]),
        float(y[start - 1 + inside]),
        float(y[shortest]),
        float(y[shortest + inside]),
    )


def numerical_tolerance(standard_uncertainty: float, digits: int = 2) -> float:
    """Delta of JCGM 101, 7.9.2: half a unit in the last of that many significant digits of u."""
    exponent = math.floor(math.log10(float(f"{standard_uncertainty:.{digits - 1}e}"))) - (digits - 1)
    return 0.5 * 10.0**exponent


def validates(low: float, high: float, found: Propagated, digits: int = 2) -> bool:
    """Whether the budget's interval agrees with the Monte Carlo one within the tolerance (JCGM 101, 8.1.3)."""
    delta = numerical_tolerance(found.standard_uncertainty, digits)
    return abs(low - found.low) <= delta and abs(high - found.high) <= delta
