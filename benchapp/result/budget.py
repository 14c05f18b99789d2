"""The budget of a result: scatter from the readings, the rest from the instrument card and the temperature."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial

from benchapp.analysis.budget import Budget, Contribution, combine, from_half_width
from benchapp.analysis.estimate import Flag
from benchapp.analysis.temperature import correction_uncertainty, to_reference
from benchapp.quantity import engineering
from benchapp.result.card import Circuit, InstrumentCard, InstrumentSpec, RangeAccuracy

DEFAULT_TEMPERATURE_UNCERTAINTY_K = 0.2  # of a thermometer on the specimen; common practice, no source


class Scope(StrEnum):
    """What an uncertainty covers."""

    REPEATABILITY = "repeatability"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class TemperatureCorrection:
    """From the specimen's temperature to a reference, with the coefficient that holds there.

    Both with their standard uncertainties; that of the temperature is 0.2 K where nothing better is known, that of the
    coefficient 0 where the material's own value is taken as exact. `temperature_C` is the mean where the readings are
    corrected one by one.
    """

    temperature_C: float
    reference_C: float
    alpha_per_K: float
    temperature_uncertainty_K: float = DEFAULT_TEMPERATURE_UNCERTAINTY_K
    alpha_uncertainty_per_K: float = 0.0
    through_run: bool = False  # each reading is corrected by itself: the value is there already
    out_of_step_K: float = 0.0  # half-width of what the specimen was behind the temperature that is taken for it


@dataclass(frozen=True, slots=True)
class BudgetPlan:
    """What is known beside the readings.

    `range_V`, `source_range_A` and `current_range_V` are the ranges in use as they were read back; None where they are
    not known. `current_shunt_ohm` is the resistor over which the current is measured; None where the set one is
    believed. `on` is the day of the run.
    """

    card: InstrumentCard | None = None
    temperature: TemperatureCorrection | None = None
    confidence: float = 0.95
    settle_s: float = 0.0
    aperture_s: float = math.nan
    range_V: float | None = None
    source_range_A: float | None = None
    temperature_uncertainty_K: float = DEFAULT_TEMPERATURE_UNCERTAINTY_K
    alpha_uncertainty_per_K: float = 0.0
    current_shunt_ohm: float | None = None
    current_range_V: float | None = None
    on: datetime.date = field(default_factory=lambda: datetime.datetime.now(datetime.UTC).date())


@dataclass(frozen=True, slots=True)
class Whole:
    """A value at its reference temperature with its budget, what that covers, and what is to be said of it."""

    resistance_ohm: float
    budget: Budget
    scope: Scope
    flags: tuple[Flag, ...]


def whole_uncertainty(R: float, u: float, degrees_of_freedom: float, current_A: float, plan: BudgetPlan) -> Whole:
    """What the readings say, with all that is known beside them, at the plan's coverage probability."""
    factor = 1.0
    if plan.temperature is not None and not plan.temperature.through_run:
        c = plan.temperature
        factor = to_reference(1.0, c.temperature_C, c.reference_C, c.alpha_per_K)
    note = "scatter of the blocks, drift of the EMF and the last digit of the voltmeter included"
    contributions = [Contribution("repeatability", u, factor, degrees_of_freedom, note=note)]
    beside, scope, flags = _beside(R * factor, current_A, plan)
    contributions += beside
    if plan.temperature is not None:
        contributions += _temperature(R * _of_then(plan.temperature), plan.temperature)
    return Whole(R * factor, combine(contributions, plan.confidence), scope, (*flags, *_overdue(plan)))


def whole_by_ratio(value_ohm: float, contributions: list[Contribution], current_A: float, plan: BudgetPlan) -> Whole:
    """A value that rests on a standard instead of on source and voltmeter, at its reference temperature.

    Of what is known beside, the specimen's circuit and temperature count. The scope is for the caller to say.
    """
    factor, found = 1.0, list(contributions)
    correction = plan.temperature
    if correction is not None and not correction.through_run:
        factor = to_reference(1.0, correction.temperature_C, correction.reference_C, correction.alpha_per_K)
        found = [replace(c, sensitivity=c.sensitivity * factor) for c in found]
    R = value_ohm * factor
    if plan.card is not None:
        found += _circuit(plan.card.circuit, R, current_A, plan)
    if correction is not None:
        found += _temperature(value_ohm * _of_then(correction), correction)
    return Whole(R, combine(found, plan.confidence), Scope.REPEATABILITY, ())


def least_uncertainty(resistance_ohm: float, current_A: float, plan: BudgetPlan) -> float:
    """Expanded uncertainty in ohm that no longer run can go below: all contributions but repeatability."""
    contributions, _, _ = _beside(resistance_ohm, current_A, plan)
    if plan.temperature is not None:
        contributions += _temperature(resistance_ohm, plan.temperature)
    return combine(contributions, plan.confidence).expanded_uncertainty if contributions else 0.0


def _beside(R: float, current_A: float, plan: BudgetPlan) -> tuple[list[Contribution], Scope, list[Flag]]:
    """Contributions of instruments and circuit to R, what they cover, and what is to be said of it."""
    card = plan.card or InstrumentCard(None, None)
    found: list[Contribution] = []
    flags: list[Flag] = []
    covered = True
    of_current = ("source", card.source, current_A, plan.source_range_A, "A", _source)
    if plan.current_shunt_ohm is not None:
        over_V = current_A * plan.current_shunt_ohm
        of_current = (
            "current voltmeter", card.current_voltmeter, over_V, plan.current_range_V, "V",
            partial(_current_voltmeter, over_V=over_V),
        )  # fmt: skip
        found += _resistor(card.current_shunt, R, plan.on)
        covered = card.current_shunt is not None
    for role, spec, value, range_, unit, make in (
        ("voltmeter", card.voltmeter, R * current_A, plan.range_V, "V", _voltmeter),
        of_current,
    ):
        if spec is None:
            covered = False
            continue
        accuracy = spec.at(value, range_)
        if accuracy is None:
            covered = False
            flags.append(_outside(role, value, range_, unit))
            continue
        if range_ is None and len(spec.ranges) > 1:
            flags.append(_assumed(role, accuracy.range_, unit))
        found += make(accuracy, R, current_A)
        found += _ageing(role, spec, R, card.circuit.temperature_C, plan.on)
    found += _circuit(card.circuit, R, current_A, plan)
    return found, Scope.ALL if covered else Scope.REPEATABILITY, flags


def _outside(role: str, value: float, range_: float | None, unit: str) -> Flag:
    where = f"the {role}'s range of {engineering(range_, unit, 3)}" if range_ is not None else f"the {role}'s rows"
    text = (
        f"The accuracy data has nothing for {engineering(abs(value), unit, 3)} on {where}: the interval covers"
        " repeatability only. Add a row for that range, or measure on one that has a row."
    )
    return Flag("outside-accuracy-data", "warning", text)


def _assumed(role: str, range_: float, unit: str) -> Flag:
    text = (
        f"The {role}'s range in use is not known: its accuracy on {engineering(range_, unit, 3)}, the smallest that"
        " holds the value, was taken. Fix the range, or write it down with the readings."
    )
    return Flag("range-assumed", "notice", text)


def _voltmeter(accuracy: RangeAccuracy, R: float, current_A: float) -> list[Contribution]:
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


def _source(accuracy: RangeAccuracy, R: float, current_A: float) -> list[Contribution]:
    limit = accuracy.reading_ppm * 1e-6 + accuracy.range_ppm * 1e-6 * accuracy.range_ / abs(current_A)
    note = f"{accuracy.reading_ppm:g} ppm of the value and {accuracy.range_ppm:g} ppm of the range; relative"
    return [Contribution("source current", from_half_width(limit, "rectangular"), R, math.inf, "rectangular", note)]


def _current_voltmeter(accuracy: RangeAccuracy, R: float, current_A: float, *, over_V: float) -> list[Contribution]:
    """As the voltmeter's own, relative to the voltage over the resistor; its offset falls out as any EMF does."""
    found = []
    for name, limit, note in (
        ("gain", accuracy.reading_ppm * 1e-6, f"{accuracy.reading_ppm:g} ppm of the reading; relative"),
        (
            "linearity",
            accuracy.range_ppm * 1e-6 * accuracy.range_ / abs(over_V),
            f"{accuracy.range_ppm:g} ppm of the range, taken whole; relative",
        ),
        ("resolution", accuracy.resolution / 2 / abs(over_V), "half of the last digit; relative"),
    ):
        if limit:
            u = from_half_width(limit, "rectangular")
            found.append(Contribution(f"current voltmeter {name}", u, R, math.inf, "rectangular", note))
    return found


def _resistor(spec: InstrumentSpec | None, R: float, on: datetime.date) -> list[Contribution]:
    """The standard resistor: its certificate, its temperature, its age; relative to its value."""
    if spec is None:
        return []
    note = f"{spec.uncertainty_ppm:g} ppm, expanded, k = 2; relative"
    own = Contribution("current shunt value", spec.uncertainty_ppm * 1e-6 / 2, R, note=note)
    return [own, *_ageing("current shunt", spec, R, spec.temperature_C, on)]


def _ageing(role: str, spec: InstrumentSpec, R: float, air_C: float | None, on: datetime.date) -> list[Contribution]:
    """What the instrument's temperature and the time since its calibration add, relative to the value."""
    found = []
    if spec.temperature_ppm_per_K and air_C is not None:
        away = abs(air_C - spec.calibrated_at_C)
        u = from_half_width(spec.temperature_ppm_per_K * 1e-6 * away, "rectangular")
        note = f"{spec.temperature_ppm_per_K:g} ppm/K over {away:g} K; relative"
        found.append(Contribution(f"{role} temperature", u, R, distribution="rectangular", note=note))
    if spec.drift_ppm_per_year and spec.calibrated is not None:
        years = max(0.0, (on - spec.calibrated).days / 365.25)
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


def _of_then(c: TemperatureCorrection) -> float:
    """From the value that stands to what it was at the specimen's temperature."""
    return 1 + c.alpha_per_K * (c.temperature_C - c.reference_C) if c.through_run else 1.0


def _temperature(R: float, c: TemperatureCorrection) -> list[Contribution]:
    by_temperature, by_coefficient = correction_uncertainty(
        R,
        c.temperature_C,
        c.reference_C,
        c.alpha_per_K,
        temperature_uncertainty_K=c.temperature_uncertainty_K,
        alpha_uncertainty_per_K=c.alpha_uncertainty_per_K,
    )
    note = f"{c.temperature_uncertainty_K:g} K standard uncertainty"
    found = [Contribution("specimen temperature", by_temperature, 1.0, note=note)]
    if c.out_of_step_K:
        u = from_half_width(c.out_of_step_K, "rectangular")
        note = f"{c.out_of_step_K:.2g} K, as far as it was behind its thermometer at the start"
        corrected = R / (1 + c.alpha_per_K * (c.temperature_C - c.reference_C))
        found.append(Contribution("specimen out of step", u, corrected * c.alpha_per_K, math.inf, "rectangular", note))
    if by_coefficient:
        note = f"{c.alpha_uncertainty_per_K:g} / K standard uncertainty"
        found.append(Contribution("temperature coefficient", by_coefficient, 1.0, note=note))
    return found


def _overdue(plan: BudgetPlan) -> list[Flag]:
    specs = [] if plan.card is None else plan.card.specs
    measured = plan.current_shunt_ohm is not None
    unused = ("source",) if measured else ("current voltmeter", "current shunt")
    return [
        Flag(
            "calibration-overdue",
            "warning",
            f"The {role}'s calibration had ended on {spec.due} when this was measured. Have it calibrated.",
        )
        for role, spec in specs
        if role not in unused and spec.due is not None and spec.due < plan.on
    ]
