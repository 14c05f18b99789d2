"""Options for what is known beside the readings: accuracy of the instruments, temperature, confidence."""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Callable
from pathlib import Path

from benchapp.analysis.budget import Budget
from benchapp.analysis.thermometer import platinum_temperature, type_t_temperature
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.quantity import engineering, parse, parse_coefficient, parse_difference, parse_temperature
from benchapp.result.budget import DEFAULT_TEMPERATURE_UNCERTAINTY_K, BudgetPlan, TemperatureCorrection
from benchapp.result.card import load_card
from benchapp.result.monte_carlo import Validation


def add_budget_options(parser: argparse.ArgumentParser) -> None:
    """--accuracy and the temperature options."""
    parser.add_argument("--accuracy", dest="instrument_card", metavar="FILE", type=Path, help="accuracy data (TOML)")
    parser.add_argument("--instrument-card", dest="instrument_card", type=Path, help=argparse.SUPPRESS)
    parser.add_argument(
        "--temperature",
        metavar="23 degC",
        help="of the specimen, where no column tells it; or a reading: ohms of a Pt100, volts of a type T",
    )
    parser.add_argument("--reference-temperature", metavar="20 degC", help="state the resistance at this temperature")
    parser.add_argument("--temperature-coefficient", metavar="0.00393 / K", help="of the specimen, at the reference")
    parser.add_argument("--temperature-uncertainty", metavar="0.2 K", help="its standard uncertainty (0.2 K)")
    parser.add_argument(
        "--coefficient-uncertainty", metavar="0.00002 / K", help="standard uncertainty of the coefficient (0)"
    )


BUDGET_OPTIONS = (
    "instrument_card",
    "temperature",
    "reference_temperature",
    "temperature_coefficient",
    "temperature_uncertainty",
    "coefficient_uncertainty",
)


def budget_plan(
    arguments: argparse.Namespace,
    confidence: float,
    measured_C: float | None = None,
    settle_s: float = 0.0,
    aperture_s: float = math.nan,
    *,
    through_run: bool = False,
) -> BudgetPlan:
    """What the options say; `measured_C` is the mean of a temperature column. Raises InputError.

    `through_run`: the recipe corrects each reading, and the options give only how sure temperature and coefficient are.
    """
    card = load_card(arguments.instrument_card) if arguments.instrument_card is not None else None
    if not through_run:
        return BudgetPlan(card, _correction(arguments, measured_C), confidence, settle_s, aperture_s)
    u_temperature, u_alpha = _uncertainties(arguments)
    return BudgetPlan(
        card,
        None,
        confidence,
        settle_s,
        aperture_s,
        temperature_uncertainty_K=u_temperature,
        alpha_uncertainty_per_K=u_alpha,
    )


def _uncertainties(arguments: argparse.Namespace) -> tuple[float, float]:
    u_temperature = read_option(arguments.temperature_uncertainty, parse_difference, "--temperature-uncertainty")
    u_alpha = read_option(arguments.coefficient_uncertainty, parse_coefficient, "--coefficient-uncertainty")
    return DEFAULT_TEMPERATURE_UNCERTAINTY_K if u_temperature is None else u_temperature, u_alpha or 0.0


def _correction(arguments: argparse.Namespace, measured_C: float | None) -> TemperatureCorrection | None:
    reference = read_option(arguments.reference_temperature, parse_temperature, "--reference-temperature")
    alpha = read_option(arguments.temperature_coefficient, parse_coefficient, "--temperature-coefficient")
    temperature = read_option(arguments.temperature, specimen_temperature, "--temperature")
    if reference is None and alpha is None:
        return None
    temperature = measured_C if temperature is None else temperature
    wanted = (
        ("--reference-temperature", reference, "20 degC"),
        ("--temperature-coefficient", alpha, "0.00393 / K"),
        ("--temperature", temperature, "23 degC"),
    )
    missing = [
        Fault("missing", "", f'Write for example "{hint}"', field=name) for name, value, hint in wanted if value is None
    ]
    if missing:
        raise InputError(*missing)
    assert reference is not None
    assert alpha is not None
    assert temperature is not None
    return TemperatureCorrection(temperature, reference, alpha, *_uncertainties(arguments))


def specimen_temperature(text: str) -> float:
    """Degrees Celsius from "23 degC", from the ohms of a Pt100, or from the volts of a type T thermocouple.

    The thermocouple's other junction is at 0 degC, or where "0.79 mV at 23 degC" says. Raises QuantityError.
    """
    reading, _, junction = text.partition(" at ")
    if not re.search(r"(ohm|Ohm|\u03a9|\u2126|V)\s*$", reading):
        return parse_temperature(text)
    if reading.strip().endswith("V"):
        found = type_t_temperature(parse(reading, "V"), parse_temperature(junction) if junction else 0.0)
        kind = "a type T thermocouple from -200 to 400 degC"
    else:
        found = platinum_temperature(parse(reading, "ohm"))
        kind = "a Pt100 from -200 to 850 degC"
    if math.isnan(found):
        raise QuantityError(Fault(f"no reading of {kind}", text, 'Write for example "107.79 ohm" or "23 degC"'))
    return found


def read_option(text: str | None, reader: Callable[[str], float], option: str) -> float | None:
    """The option's value in SI units; None where it was not given. Raises InputError that names the option."""
    if text is None:
        return None
    try:
        return reader(text)
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=option)) from error


def validation_in_words(validation: Validation) -> str:
    """One line on the Monte Carlo interval."""
    agree = "validates the budget" if validation.validated else "does not agree with the budget; prefer this interval"
    low, high = (engineering(value, "ohm", 7) for value in (validation.low_ohm, validation.high_ohm))
    return (
        f"Monte Carlo ({validation.trials} trials): u = {engineering(validation.standard_uncertainty_ohm, 'ohm', 3)},"
        f" {low} to {high}; {agree} (JCGM 101, tolerance {engineering(validation.tolerance_ohm, 'ohm', 2)})"
    )


def budget_in_words(budget: Budget) -> str:
    """A table for people."""
    lines = [f"{'contribution':<22}{'u in ohm':>12}{'share':>8}  note"]
    lines += [
        f"{c.name:<22}{engineering(c.contribution, 'ohm', 3):>12}{c.share:>8.1%}  {c.note}"
        for c in budget.contributions
    ]
    degrees = "infinite" if budget.degrees_of_freedom == float("inf") else f"{budget.degrees_of_freedom:.1f}"
    lines.append(
        f"combined u = {engineering(budget.standard_uncertainty, 'ohm', 3)}, effective degrees of freedom {degrees},"
        f" k = {budget.coverage_factor:.3f}, U = {engineering(budget.expanded_uncertainty, 'ohm', 3)}"
        f" ({budget.coverage_probability:.0%})"
    )
    return "\n".join(lines)
