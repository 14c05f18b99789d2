"""The budget of a result: scatter from the readings, the rest from the instrument card and the temperature."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace

from benchapp.analysis.budget import Budget, Contribution, combine, from_half_width
from benchapp.analysis.estimate import Estimate, Flag
from benchapp.analysis.temperature import correction_uncertainty, to_reference
from benchapp.recipe import Recipe
from benchapp.result.card import Circuit, InstrumentCard, InstrumentSpec


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
    settle_s: float = 0.0
    aperture_s: float = math.nan


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
    card = plan.card or InstrumentCard(None, None)
    if card.voltmeter is not None:
        contributions += _voltmeter(card.voltmeter, R * factor, current_A)
        contributions += _ageing("voltmeter", card.voltmeter, R * factor, card.circuit.temperature_C)
    if card.source is not None:
        contributions += _source(card.source, R * factor, current_A)
        contributions += _ageing("source", card.source, R * factor, card.circuit.temperature_C)
    contributions += _circuit(card.circuit, R * factor, current_A, plan)
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


def _ageing(role: str, spec: InstrumentSpec, R: float, air_C: float | None) -> list[Contribution]:
    """What the instrument's temperature and the time since its calibration add, relative to the value."""
    found = []
    if spec.temperature_ppm_per_K and air_C is not None:
        away = abs(air_C - spec.calibrated_at_C)
        u = from_half_width(spec.temperature_ppm_per_K * 1e-6 * away, "rectangular")
        note = f"{spec.temperature_ppm_per_K:g} ppm/K over {away:g} K; relative"
        found.append(Contribution(f"{role} temperature", u, R, distribution="rectangular", note=note))
    if spec.drift_ppm_per_year and spec.calibrated is not None:
        years = max(0.0, (datetime.date.today() - spec.calibrated).days / 365.25)
        u = from_half_width(spec.drift_ppm_per_year * 1e-6 * years, "rectangular")
        note = f"{spec.drift_ppm_per_year:g} ppm a year over {years:.2f} years; relative"
        found.append(Contribution(f"{role} calibration age", u, R, distribution="rectangular", note=note))
    return found


def _circuit(circuit: Circuit, R: float, current_A: float, plan: BudgetPlan) -> list[Contribution]:
    """Errors of one sign that the readings cannot show, each taken as the half-width of a rectangle, none corrected."""
    limits: list[tuple[str, float, str]] = []
    if circuit.asymmetry_ppm:
        note = f"half of {circuit.asymmetry_ppm:g} ppm between the two currents; relative"
        limits.append(("current asymmetry", circuit.asymmetry_ppm * 1e-6 / 2, note))
    tau = circuit.settling_time_constant_s
    if tau:
        left = 2 * math.exp(-plan.settle_s / tau)
        if plan.aperture_s > 0:
            left *= tau / plan.aperture_s * -math.expm1(-plan.aperture_s / tau)
        note = f"time constant {tau:g} s, {plan.settle_s:g} s waited, mean over the aperture; relative"
        limits.append(("residual settling", left, note))
    alpha = circuit.temperature_coefficient_per_K
    if alpha is None and plan.temperature is not None:
        alpha = plan.temperature.alpha_per_K
    if circuit.thermal_resistance_K_per_W and alpha is not None:
        rise = circuit.thermal_resistance_K_per_W * current_A**2 * abs(R)
        limits.append(("self-heating", abs(alpha) * rise, f"{rise:.3g} K above the surroundings; relative"))
    if circuit.insulation_ohm:
        limits.append(("leakage", abs(R) / circuit.insulation_ohm, f"{circuit.insulation_ohm:g} ohm beside; relative"))
    return [
        Contribution(name, from_half_width(limit, "rectangular"), R, distribution="rectangular", note=note)
        for name, limit, note in limits
    ]


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
