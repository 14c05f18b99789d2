"""Options for limits, decision rule and coverage probability, checked by the recipe's own readers."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

from benchapp.errors import InputError
from benchapp.recipe import read_entries
from benchapp.recipe_values import Entry
from benchapp.result.decision import DecisionRule
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity

VERDICTS = ("pass", "fail", "undecided")


def add_decision_options(parser: argparse.ArgumentParser) -> None:
    """--low, --high, --rule, --guard-band and --coverage."""
    parser.add_argument("--low", metavar="...", help="lower limit of the resistance")
    parser.add_argument("--high", metavar="...", help="upper limit of the resistance")
    parser.add_argument("--rule", metavar="guarded", help="simple or guarded acceptance (guarded)")
    parser.add_argument("--guard-band", metavar="1.0", help="guard band in expanded uncertainties (1)")
    add_coverage_option(parser)


def add_coverage_option(parser: argparse.ArgumentParser) -> None:
    """--coverage, and the name that it had before."""
    parser.add_argument("--coverage", dest="confidence", metavar="0.95", help="coverage probability (0.95)")
    parser.add_argument("--confidence", dest="confidence", help=argparse.SUPPRESS)


def add_require_option(parser: argparse.ArgumentParser) -> None:
    """--require."""
    parser.add_argument(
        "--require", choices=VERDICTS, help="exit 1 where the verdict is another one, or there is none (for production)"
    )


def decision_options(arguments: argparse.Namespace) -> tuple[DecisionRule, float]:
    """The rule and the coverage probability. Raises InputError with all faults at once."""
    values = _read(arguments, ("low", "high", "rule", "guard_band", "confidence"))
    rule = DecisionRule(
        values.get("low"), values.get("high"), values.get("rule", "guarded"), values.get("guard_band", 1.0)
    )
    return rule, values.get("confidence", 0.95)


def coverage(arguments: argparse.Namespace, otherwise: float) -> float:
    """The coverage probability. Raises InputError."""
    return float(_read(arguments, ("confidence",)).get("confidence", otherwise))


def exit_with_all(statements: Sequence[Statement], required: str | None) -> int:
    """That of all parts of a run: 4 where one is not valid, 1 where one has another verdict. A standard has none."""
    statuses = [exit_with(stated, None if stated.is_standard else required) for stated in statements]
    return 4 if 4 in statuses else max(statuses, default=4)


def exit_with(stated: Statement, required: str | None) -> int:
    """The exit status of a statement: 4 without one that is valid, 1 where another verdict was required, else 0."""
    if stated.exit_status:
        return stated.exit_status
    if required is not None and (stated.validity is not Validity.VALID or stated.verdict != required):
        return 1
    return 0


def _read(arguments: argparse.Namespace, keys: tuple[str, ...]) -> dict[str, Any]:
    names = {"confidence": "--coverage"}
    entries = {
        key: Entry(text, names.get(key, f"--{key.replace('_', '-')}"))
        for key in keys
        if (text := getattr(arguments, key)) is not None
    }
    values, faults = read_entries(entries)
    if faults:
        raise InputError(*faults)
    return values
