"""The budget of a result: scatter from the readings, the rest from the instrument card and the temperature."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace

from benchapp.analysis.budget import Budget, Contribution, combine, from_half_width
from benchapp.analysis.estimate import Estimate, Flag
from benchapp.analysis.temperature import correction_uncertainty, to_reference
from benchapp.instrument_card import InstrumentCard, InstrumentSpec
from benchapp.recipe import Recipe


@dataclass(frozen=True, slots=True)
class TemperatureCorrection:
    """From the specimen's temperature to a reference, with the coefficient that holds there."""

    temperature_C: float
    reference_C: float
    alpha_per_K: float
    temperature_uncertainty_K: float = 0.2


@dataclass(frozen=True, slots=True)
class BudgetPlan:
    """What is known beside the readings."""

    card: InstrumentCard | None = None
    temperature: TemperatureCorrection | None = None
    confidence: float = 0.95


def stated(estimate: Estimate, recipe: Recipe) -> Estimate:
    """The estimate at the recipe's coverage probability, nothing else known beside the readings."""
    if recipe.confidence == estimate.coverage_probability or not estimate.standard_uncertainty_ohm > 0:
        return estimate
    return with_budget(estimate, recipe.current_A, BudgetPlan(confidence=recipe.confidence))[0]


def with_budget(estimate: Estimate, current_A: float, plan: BudgetPlan) -> tuple[Estimate, Budget]:
    """The estimate with its whole uncertainty, corrected to the reference temperature, and the budget behind it.

    `repeatability_95_ohm` stays what scatter alone gives.
    """
    R, factor = estimate.resistance_ohm, 1.0
    if plan.temperature is not None:
        c = plan.temperature
        factor = to_reference(1.0, c.temperature_C, c.reference_C, c.alpha_per_K)
    contributions = [
        Contribution(
            "repeatability",
            estimate.standard_uncertainty_ohm,
            factor,
            estimate.degrees_of_freedom,
            note="scatter of the blocks, drift of the EMF included",
        )
    ]
    if plan.card is not None and plan.card.voltmeter is not None:
        contributions += _voltmeter(plan.card.voltmeter, R * factor, current_A)
    if plan.card is not None and plan.card.source is not None:
        contributions += _source(plan.card.source, R * factor, current_A)
    if plan.temperature is not None:
        contributions += _temperature(R, plan.temperature)
    budget = combine(contributions, plan.confidence)
    finite = math.isfinite(budget.degrees_of_freedom)
    return (
        replace(
            estimate,
            resistance_ohm=R * factor,
            standard_uncertainty_ohm=budget.standard_uncertainty,
            expanded_uncertainty_ohm=budget.expanded_uncertainty,
            coverage_factor=budget.coverage_factor,
            coverage_probability=plan.confidence,
            degrees_of_freedom=budget.whole_degrees_of_freedom if finite else 10**9,
            flags=(*estimate.flags, *_overdue(plan.card)),
        ),
        budget,
    )


def _voltmeter(spec: InstrumentSpec, R: float, current_A: float) -> list[Contribution]:
    voltage = abs(R * current_A)
    accuracy = spec.at(voltage)
    found = [
        Contribution(
            "voltmeter gain",
            from_half_width(accuracy.reading_ppm * 1e-6, "rectangular"),
            R,
            distribution="rectangular",
            note=f"{accuracy.reading_ppm:g} ppm of the reading; relative",
        ),
        Contribution(
            "voltmeter offset",
            0.0,
            R,
            distribution="rectangular",
            note="removed by the reversal of the current",
        ),
        Contribution(
            "voltmeter linearity",
            from_half_width(accuracy.range_ppm * 1e-6 * accuracy.range_, "rectangular"),
            1 / abs(current_A),
            distribution="rectangular",
            note=f"{accuracy.range_ppm:g} ppm of the range, taken whole",
        ),
    ]
    if accuracy.resolution:
        u = from_half_width(accuracy.resolution / 2, "rectangular")
        found.append(Contribution("resolution", u, 1 / abs(current_A), distribution="rectangular"))
    return found


def _source(spec: InstrumentSpec, R: float, current_A: float) -> list[Contribution]:
    accuracy = spec.at(current_A)
    limit = accuracy.reading_ppm * 1e-6 + accuracy.range_ppm * 1e-6 * accuracy.range_ / abs(current_A)
    note = f"{accuracy.reading_ppm:g} ppm of the value and {accuracy.range_ppm:g} ppm of the range; relative"
    return [Contribution("source current", from_half_width(limit, "rectangular"), R, math.inf, "rectangular", note)]


def _temperature(R: float, c: TemperatureCorrection) -> list[Contribution]:
    by_temperature, _ = correction_uncertainty(
        R, c.temperature_C, c.reference_C, c.alpha_per_K, temperature_uncertainty_K=c.temperature_uncertainty_K
    )
    note = f"± {c.temperature_uncertainty_K:g} K standard uncertainty"
    return [Contribution("specimen temperature", by_temperature, 1.0, note=note)]


def _overdue(card: InstrumentCard | None) -> list[Flag]:
    specs = [] if card is None else [("voltmeter", card.voltmeter), ("source", card.source)]
    today = datetime.date.today()
    return [
        Flag("calibration-overdue", "warning", f"The {role}'s calibration ended on {spec.due}. Have it calibrated.")
        for role, spec in specs
        if spec is not None and spec.due is not None and spec.due < today
    ]
