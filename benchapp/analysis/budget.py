"""The uncertainty budget of JCGM 100:2008: contributions, their combination, and the coverage factor."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchapp.analysis.student import coverage_factor, normal_quantile

# Divisors of a half-width, JCGM 100:2008, 4.3.7 to 4.3.9, and 4.3.3 for a stated U with k = 2.
DIVISORS = {"normal": 2.0, "rectangular": math.sqrt(3), "triangular": math.sqrt(6), "U-shaped": math.sqrt(2)}


_MANY_DEGREES = 1e6  # as good as a limit that is certain


@dataclass(frozen=True, slots=True)
class Contribution:
    """One input of the budget.

    `standard_uncertainty` is in the unit of the input, `sensitivity` in result units per input unit; infinite
    `degrees_of_freedom` stand for a limit that is taken as certain. `share` is filled in by `combine`.
    """

    name: str
    standard_uncertainty: float
    sensitivity: float = 1.0
    degrees_of_freedom: float = math.inf
    distribution: str = "normal"
    note: str = ""
    share: float = math.nan

    @property
    def contribution(self) -> float:
        """|c| u, in result units."""
        return abs(self.sensitivity) * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class Budget:
    """Combined and expanded uncertainty, in result units; contributions with the largest share first."""

    contributions: tuple[Contribution, ...]
    standard_uncertainty: float
    degrees_of_freedom: float
    coverage_probability: float
    coverage_factor: float
    expanded_uncertainty: float


def from_half_width(half_width: float, distribution: str) -> float:
    """Standard uncertainty of a half-width under a distribution of `DIVISORS`."""
    return abs(half_width) / DIVISORS[distribution]


def degrees_from_reliability(relative_uncertainty: float) -> float:
    """Degrees of freedom of a standard uncertainty that is itself known to that relative uncertainty (G.3)."""
    return math.inf if relative_uncertainty == 0 else 0.5 / relative_uncertainty**2


def welch_satterthwaite(contributions: Sequence[Contribution]) -> float:
    """Effective degrees of freedom (G.2b); infinite where only certain limits contribute."""
    u4 = sum(c.contribution**2 for c in contributions) ** 2
    terms = sum(c.contribution**4 / c.degrees_of_freedom for c in contributions if c.contribution > 0)
    return math.inf if terms == 0 else u4 / terms


def combine(
    contributions: Sequence[Contribution],
    coverage_probability: float = 0.95,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:
    """Root sum of squares, and k = t_p(nu_eff) with nu_eff as it is: interpolated, not truncated (G.4.1 allows both).

    `correlations` holds r of two contributions by their names (5.2.2); the others are uncorrelated. The effective
    degrees of freedom are those of uncorrelated contributions, which is all that G.4.1 gives.
    """
    variance = sum(c.contribution**2 for c in contributions)
    for (first, second), r in (correlations or {}).items():
        a, b = (next(c for c in contributions if c.name == name) for name in (first, second))
        variance += 2 * r * a.sensitivity * a.standard_uncertainty * b.sensitivity * b.standard_uncertainty
    variance = max(0.0, variance)
    u = math.sqrt(variance)
    degrees = welch_satterthwaite(contributions)
    if degrees > _MANY_DEGREES:
        degrees = math.inf
    if math.isinf(degrees):
        k = normal_quantile(0.5 + coverage_probability / 2)
    else:
        k = coverage_factor(max(1.0, degrees), coverage_probability)
    shared = [
        Contribution(
            c.name, c.standard_uncertainty, c.sensitivity, c.degrees_of_freedom, c.distribution, c.note,
            c.contribution**2 / variance if variance else 0.0,
        )
        for c in contributions
    ]  # fmt: skip
    shared.sort(key=lambda c: -c.share)
    return Budget(tuple(shared), u, degrees, coverage_probability, k, k * u)
