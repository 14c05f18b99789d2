"""The uncertainty budget of JCGM 100:2008: contributions, their combination, and the coverage factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchapp.analysis.student import coverage_factor, normal_quantile

# Divisors of a half-width, JCGM 100:2008, 4.3.7 to 4.3.9, and 4.3.3 for a stated U with k = 2.
DIVISORS = {"normal": 2.0, "rectangular": math.sqrt(3), "triangular": math.sqrt(6), "U-shaped": math.sqrt(2)}


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

    @property
    def whole_degrees_of_freedom(self) -> int:
        """Truncated to a whole number (G.4.1); rounding of the arithmetic must not cost one."""
        return _truncated(self.degrees_of_freedom)


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


def _truncated(degrees_of_freedom: float) -> int:
    return max(1, math.floor(degrees_of_freedom + 1e-9))


def combine(contributions: Sequence[Contribution], coverage_probability: float = 0.95) -> Budget:
    """Root sum of squares of uncorrelated contributions, and k = t_p(nu_eff) with nu_eff truncated (G.4.1)."""
    variance = sum(c.contribution**2 for c in contributions)
    u = math.sqrt(variance)
    degrees = welch_satterthwaite(contributions)
    if math.isinf(degrees):
        k = normal_quantile(0.5 + coverage_probability / 2)
    else:
        k = coverage_factor(_truncated(degrees), coverage_probability)
    shared = [
        Contribution(
            c.name, c.standard_uncertainty, c.sensitivity, c.degrees_of_freedom, c.distribution, c.note,
            c.contribution**2 / variance if variance else 0.0,
        )
        for c in contributions
    ]  # fmt: skip
    shared.sort(key=lambda c: -c.share)
    return Budget(tuple(shared), u, degrees, coverage_probability, k, k * u)
