"""Options for what is known beside the readings: accuracy of the instruments, temperature, confidence."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchapp.analysis.budget import Budget
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.instrument_card import load_card
from benchapp.quantity import engineering, parse_coefficient, parse_temperature
from benchapp.result_budget import BudgetPlan, TemperatureCorrection


def add_budget_options(parser: argparse.ArgumentParser) -> None:
    """--instrument-card and the temperature options."""
    parser.add_argument("--instrument-card", metavar="FILE", type=Path, help="accuracy of the instruments (TOML)")
    parser.add_argument("--temperature", metavar="23 degC", help="the specimen's temperature, where no column tells it")
    parser.add_argument("--reference-temperature", metavar="20 degC", help="state the resistance at this temperature")
    parser.add_argument("--temperature-coefficient", metavar="0.00393 / K", help="of the specimen, at the reference")


def budget_plan(arguments: argparse.Namespace, confidence: float, measured_C: float | None = None) -> BudgetPlan:
    """What the options say; `measured_C` is the mean of a temperature column. Raises InputError."""
    card = load_card(arguments.instrument_card) if arguments.instrument_card is not None else None
    return BudgetPlan(card, _correction(arguments, measured_C), confidence)


def _correction(arguments: argparse.Namespace, measured_C: float | None) -> TemperatureCorrection | None:
    reference = _read(arguments.reference_temperature, parse_temperature, "--reference-temperature")
    alpha = _read(arguments.temperature_coefficient, parse_coefficient, "--temperature-coefficient")
    temperature = _read(arguments.temperature, parse_temperature, "--temperature")
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
    return TemperatureCorrection(temperature, reference, alpha)


def _read(text: str | None, reader: Callable[[str], float], option: str) -> float | None:
    if text is None:
        return None
    try:
        return reader(text)
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=option)) from error


def budget_rows(budget: Budget) -> list[dict[str, Any]]:
    """The budget as JSON rows, the largest share first."""
    return [
        {
            "name": c.name,
            "distribution": c.distribution,
            "standard_uncertainty": c.standard_uncertainty,
            "sensitivity": c.sensitivity,
            "contribution_ohm": c.contribution,
            "degrees_of_freedom": None if c.degrees_of_freedom == float("inf") else c.degrees_of_freedom,
            "share": c.share,
            "note": c.note,
        }
        for c in budget.contributions
    ]


def budget_in_words(budget: Budget) -> str:
    """A table for people."""
    lines = [f"{'contribution':<22}{'u in ohm':>12}{'share':>8}  note"]
    lines += [
        f"{c.name:<22}{engineering(c.contribution, 'ohm', 3):>12}{c.share:>8.1%}  {c.note}"
        for c in budget.contributions
    ]
    degrees = "inf" if budget.degrees_of_freedom == float("inf") else f"{budget.degrees_of_freedom:.1f}"
    lines.append(
        f"combined u = {engineering(budget.standard_uncertainty, 'ohm', 3)}, effective degrees of freedom {degrees},"
        f" k = {budget.coverage_factor:.3f}, U = {engineering(budget.expanded_uncertainty, 'ohm', 3)}"
        f" ({budget.coverage_probability:.0%})"
    )
    return "\n".join(lines)
