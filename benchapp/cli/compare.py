"""`benchapp compare`: an unknown against a standard resistor, from runs measured in turns."""

from __future__ import annotations

import argparse
import datetime
import math
from pathlib import Path

from benchapp.analysis.budget import Contribution, combine
from benchapp.analysis.comparison import Ratio, Turn, compare
from benchapp.cli.budget_options import budget_in_words
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.logbook.database import default_path
from benchapp.quantity import concise, parse
from benchapp.result.json_object import budget_rows, to_line
from benchapp.run.recorded import open_run


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
    parser.add_argument("--confidence", type=float, default=0.95, help="coverage probability (0.95)")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--json", metavar="FILE", help='as JSON into this file, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Compute and print."""
    standard = _ohm(arguments.standard, "--standard")
    U_standard = _ohm(arguments.standard_uncertainty or "0", "--standard-uncertainty")
    if not 0.5 <= arguments.confidence < 1:
        fault = Fault("out of range", str(arguments.confidence), "Write for example 0.95", field="--confidence")
        raise InputError(fault)
    turns = _turns(arguments)
    try:
        ratio = compare(turns)
    except ValueError as error:
        problem, _, remedy = str(error).partition(": ")
        raise InputError(Fault(problem, arguments.order, remedy or "Measure again", field="ORDER")) from error
    budget = combine(
        [
            Contribution("ratio", ratio.standard_uncertainty, standard, ratio.degrees_of_freedom, note="of the turns"),
            Contribution("standard", U_standard / 2, ratio.ratio, math.inf, note="certificate, k = 2"),
        ],
        arguments.confidence,
    )
    value = ratio.ratio * standard
    if arguments.json is not None:
        with opened(arguments.json, "--json") as stream:
            told = {
                "runs": arguments.runs,
                "ratio": ratio.ratio,
                "ratio_standard_uncertainty": ratio.standard_uncertainty,
                "degrees_of_freedom": ratio.degrees_of_freedom,
                "drift_per_s": ratio.drift_per_s,
                "resistance_ohm": value,
                "standard_uncertainty_ohm": budget.standard_uncertainty,
                "expanded_uncertainty_ohm": budget.expanded_uncertainty,
                "coverage_factor": budget.coverage_factor,
                "coverage_probability": budget.coverage_probability,
                "budget": budget_rows(budget),
            }
            stream.write(to_line(told) + "\n")
        return 0
    print(f"R_X / R_S = {_ratio_in_words(ratio)}, drift {ratio.drift_per_s * 3600 * 1e6:.3g} ppm an hour taken out")
    print(f"R_X = {concise(value, budget.standard_uncertainty, 'ohm')}")
    print(budget_in_words(budget))
    return 0


def _turns(arguments: argparse.Namespace) -> list[Turn]:
    order = arguments.order.upper()
    if set(order) - set("SX"):
        raise InputError(Fault("not of S and X", arguments.order, 'Write for example "SXS"', field="ORDER"))
    if len(order) != len(arguments.runs):
        problem = f"{len(order)} letters for {len(arguments.runs)} runs"
        raise InputError(Fault(problem, arguments.order, "Name one run for each letter", field="ORDER"))
    turns = []
    currents = set()
    for letter, run_id in zip(order, arguments.runs, strict=True):
        run = open_run(arguments.logbook or default_path(), run_id)
        record, recipe, estimate = run.record, run.recipe, run.statements[0].estimate
        if not estimate.blocks:
            raise InputError(Fault("the run has no result", str(run_id), "Choose another", field="RUN"))
        currents.add(recipe.current_A)
        started = datetime.datetime.fromisoformat(record.summary.started).timestamp()
        middle = started + (record.readings.time_s[-1] / 2)
        u = estimate.standard_uncertainty_ohm
        turns.append(Turn(middle, letter == "S", estimate.resistance_ohm, u if u > 0 else 0.0))
    if len(currents) > 1:
        values = ", ".join(f"{current:g} A" for current in sorted(currents))
        remedy = "Measure all of them at one current: another one has another error of the source"
        raise InputError(Fault("the runs have different currents", values, remedy, field="RUN"))
    return turns


def _ratio_in_words(ratio: Ratio) -> str:
    u = ratio.standard_uncertainty
    places = max(0, 1 - math.floor(math.log10(u))) if u > 0 else 9
    return f"{ratio.ratio:.{places}f}({round(u * 10**places)})"


def _ohm(text: str, option: str) -> float:
    try:
        return parse(text, "ohm")
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=option)) from error
