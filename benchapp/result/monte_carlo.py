"""A budget by propagation of distributions, and whether the two intervals agree (JCGM 101:2008, clause 8)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.budget import Budget, Contribution
from benchapp.analysis.monte_carlo import (
    Draw,
    Floats,
    Propagated,
    arcsine,
    normal,
    numerical_tolerance,
    propagate,
    rectangular,
    student,
    triangular,
    validates,
)

_HALF_WIDTHS = {"rectangular": (rectangular, math.sqrt(3)), "triangular": (triangular, math.sqrt(6))}
_DIGITS = 1  # of the standard uncertainty that are regarded as meaningful


@dataclass(frozen=True, slots=True)
class Validation:
    """The interval by Monte Carlo in ohm, and whether the budget's lies within `tolerance_ohm` of it at both ends."""

    standard_uncertainty_ohm: float
    low_ohm: float
    high_ohm: float
    tolerance_ohm: float
    validated: bool
    trials: int


def validate(value_ohm: float, budget: Budget, *, trials: int = 1_000_000, seed: int = 1) -> Validation | None:
    """Draw every contribution from its own distribution; None where nothing contributes."""
    parts = [c for c in budget.contributions if c.contribution > 0]
    if not parts:
        return None
    draws = {f"x{k}": _draw(part) for k, part in enumerate(parts)}
    sensitivities = [part.sensitivity for part in parts]

    def model(**inputs: Floats) -> Floats:
        total: Floats = np.full(trials, value_ohm)
        for sensitivity, drawn in zip(sensitivities, inputs.values(), strict=True):
            total += sensitivity * drawn
        return total

    found: Propagated = propagate(
        model, draws, coverage_probability=budget.coverage_probability, trials=trials, seed=seed
    )
    U = budget.expanded_uncertainty
    return Validation(
        found.standard_uncertainty,
        found.low,
        found.high,
        numerical_tolerance(found.standard_uncertainty, _DIGITS),
        validates(value_ohm - U, value_ohm + U, found, _DIGITS),
        trials,
    )


def _draw(part: Contribution) -> Draw:
    u = part.standard_uncertainty
    if part.distribution in _HALF_WIDTHS:
        kind, factor = _HALF_WIDTHS[part.distribution]
        return kind(0.0, u * factor)
    if part.distribution == "U-shaped":
        return arcsine(0.0, u * math.sqrt(2))
    return student(0.0, u, part.degrees_of_freedom) if math.isfinite(part.degrees_of_freedom) else normal(0.0, u)
