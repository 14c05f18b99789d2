"""`benchapp compare`: an unknown against a standard resistor, from runs measured in turns."""

from __future__ import annotations

import argparse
import datetime
import math
from pathlib import Path

from benchapp.analysis.comparison import Turn, compare
from benchapp.cli.budget_options import budget_in_words, read_option
from benchapp.cli.decision_options import add_coverage_option, coverage
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.logbook.database import default_path
from benchapp.logbook.store import add_comparison
from benchapp.quantity import concise, parse_coefficient, parse_difference, parse_positive
from benchapp.result.card import load_card
from benchapp.result.in_turns import Standard
from benchapp.result.json_object import to_line
from benchapp.result.ratio import Compared, compared_object, state_comparison
from benchapp.result.validity import Validity
from benchapp.result.words import SCOPES, VALIDITIES, drift_in_words, plain_ratio
from benchapp.run.recorded import RecordedRun, open_run


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "compare",
        help="an unknown against a standard resistor",
        description="From recorded runs of a standard (S) and an unknown (X), measured in turns with the same current:"
        " their ratio, free of the source's accuracy and of drift, and the unknown's value.",
    )
    parser.add_argument("order", metavar="ORDER", help='which run is of which, such as "SXS" or "XSSX"')
    parser.add_argument("runs", metavar="RUN", nargs="+", type=int, help="the runs in that order")
    parser.add_argument("--standard", metavar='"100 uohm"', required=True, help="certified value of the standard")
    parser.add_argument(
        "--standard-uncertainty",
        metavar='"5 nohm"',
        help="expanded uncertainty (k = 2) of its certificate, drift since then included",
    )
    parser.add_argument("--standard-coefficient", metavar="5 ppm/K", help="temperature coefficient of the standard")
    parser.add_argument("--standard-away", metavar='"0.5 K"', help="how far it may be from that of its certificate")
    parser.add_argument(
        "--drift-model",
        choices=("linear", "quadratic"),
        help="of source and voltmeter over all turns (the highest that the turns allow; linear: on your word)",
    )
    parser.add_argument("--accuracy", metavar="FILE", type=Path, help="accuracy data of the voltmeter (TOML)")
    add_coverage_option(parser)
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--json", metavar="FILE", help='as JSON into this file, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Compute, keep and print."""
    standard = Standard(
        _ohm(arguments.standard, "--standard"),
        _ohm(arguments.standard_uncertainty or "0", "--standard-uncertainty", or_zero=True),
        read_option(arguments.standard_coefficient, parse_coefficient, "--standard-coefficient") or 0.0,
        read_option(arguments.standard_away, parse_difference, "--standard-away") or 0.0,
    )
    probability = coverage(arguments, 0.95)
    card = load_card(arguments.accuracy) if arguments.accuracy is not None else None
    turns, runs = _turns(arguments)
    order = {"linear": 1, "quadratic": 2, None: None}[arguments.drift_model]
    try:
        ratio = compare(turns, order)
    except ValueError as error:
        problem, _, remedy = str(error).partition(": ")
        raise InputError(Fault(problem, arguments.order, remedy or "Measure again", field="ORDER")) from error
    letters = arguments.order.upper()
    compared = state_comparison(
        ratio,
        standard,
        [(letter, run.statements[0]) for letter, run in zip(letters, runs, strict=True)],
        card=card,
        confidence=probability,
        linear_assumed=arguments.drift_model == "linear",
    )
    told = compared_object(compared, arguments.runs, letters)
    add_comparison(arguments.logbook or default_path(), told)
    if arguments.json is not None:
        with opened(arguments.json, "--json", [arguments.logbook or default_path(), arguments.accuracy]) as stream:
            stream.write(to_line(told) + "\n")
    else:
        _print(compared)
    return 4 if compared.validity is Validity.NOT_VALID else 0


def _print(compared: Compared) -> None:
    ratio = compared.ratio
    ratio_text, drift = plain_ratio(ratio.ratio, ratio.standard_uncertainty), drift_in_words(ratio.drift_per_s)
    print(f"R_X / R_S = {ratio_text}, drift {drift} taken out")
    struck = "NOT VALID: " if compared.validity is Validity.NOT_VALID else ""
    value = concise(compared.value_ohm, compared.budget.standard_uncertainty, "ohm")
    print(f"{struck}R_X = {value}, {SCOPES[compared.scope]}")
    for reason in compared.reasons:
        print(f"  {VALIDITIES[reason.validity]}: {reason.text}")
    for remark in compared.remarks:
        print(f"  notice: {remark}")
    print(budget_in_words(compared.budget))


def _turns(arguments: argparse.Namespace) -> tuple[list[Turn], list[RecordedRun]]:
    order = arguments.order.upper()
    if set(order) - set("SX"):
        raise InputError(Fault("not of S and X", arguments.order, 'Write for example "SXS"', field="ORDER"))
    if len(order) != len(arguments.runs):
        problem = f"{len(order)} letters for {len(arguments.runs)} runs"
        raise InputError(Fault(problem, arguments.order, "Name one run for each letter", field="ORDER"))
    turns, runs = [], []
    currents, apertures = set(), set()
    for letter, run_id in zip(order, arguments.runs, strict=True):
        run = open_run(arguments.logbook or default_path(), run_id)
        record, recipe, estimate = run.record, run.recipe, run.statements[0].estimate
        if not estimate.blocks:
            raise InputError(Fault("the run has no result", str(run_id), "Choose another", field="RUN"))
        runs.append(run)
        currents.add(recipe.current_A)
        apertures.add(recipe.nplc)
        started = datetime.datetime.fromisoformat(record.summary.started).timestamp()
        middle = started + (record.readings.time_s[-1] / 2)
        u = estimate.standard_uncertainty_ohm
        degrees = estimate.degrees_of_freedom or math.inf
        turns.append(Turn(middle, letter == "S", estimate.resistance_ohm, u if u > 0 else 0.0, degrees))
    if len(currents) > 1:
        values = ", ".join(f"{current:g} A" for current in sorted(currents))
        remedy = "Measure all of them at one current: another one has another error of the source"
        raise InputError(Fault("the runs have different currents", values, remedy, field="RUN"))
    if len(apertures) > 1:
        values = ", ".join(f"{nplc:g} PLC" for nplc in sorted(apertures))
        raise InputError(Fault("the runs have different apertures", values, "Measure all with one", field="RUN"))
    return turns, runs


def _ohm(text: str, option: str, *, or_zero: bool = False) -> float:
    try:
        return parse_positive(text, "ohm", or_zero=or_zero)
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=option)) from error
