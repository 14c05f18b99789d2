"""`benchapp analyse`: results of readings that stand in CSV files."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.traps.detect import with_traps
from benchapp.cli.budget_options import add_budget_options, budget_plan
from benchapp.cli.geometry_options import add_geometry_options, geometry
from benchapp.cli.output import opened
from benchapp.cli.statement import Statement
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.logbook.readings_csv import ReadingColumns, read_readings
from benchapp.quantity import parse
from benchapp.result.budget import with_budget
from benchapp.result.decision import decide
from benchapp.result.json_object import to_line

T = TypeVar("T")
D = TypeVar("D")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "analyse",
        help="results of readings in CSV files",
        description="Analyse CSV files with the columns time_s,current_A,voltage_V[,temperature_C], one run a file."
        " A line '# pause' stands where the run was paused; an exported file says in its head how it was measured."
        " Exit 2 where a file cannot be analysed; the others still are.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE.csv", type=Path)
    parser.add_argument("--emf-order", type=int, choices=(0, 1, 2), help="order of the EMF in a block (1)")
    estimators = [str(estimator) for estimator in Estimator]
    parser.add_argument(
        "--estimator",
        choices=estimators,
        help="how R follows from the readings (sliding; state-space where the signs are irregular)",
    )
    parser.add_argument("--confidence", type=float, default=0.95, help="coverage probability (0.95)")
    parser.add_argument("--low", metavar="...", help="lower limit of the resistance")
    parser.add_argument("--high", metavar="...", help="upper limit of the resistance")
    parser.add_argument("--rule", choices=("simple", "guarded"), default="guarded", help="of the verdict (guarded)")
    parser.add_argument("--guard-band", type=float, default=1.0, help="in expanded uncertainties (1)")
    add_budget_options(parser)
    add_geometry_options(parser)
    parser.add_argument("--json", metavar="FILE", help='one JSON object a line into this file, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Analyse each file."""
    if arguments.json is None:
        return _in_words(arguments)
    status = 0
    with opened(arguments.json, "--json") as stream:
        for path in arguments.files:
            try:
                stated = _analyse(path, arguments)
                verdict = None if stated.decision is None else str(stated.decision.verdict)
                line = to_line(stated.as_object({"file": str(path)}, verdict))
            except InputError as error:
                status = error.exit_status
                line = to_line({"file": str(path), "error": str(error)})
            stream.write(line + "\n")
    return status


def _in_words(arguments: argparse.Namespace) -> int:
    status = 0
    for path in arguments.files:
        try:
            print(_analyse(path, arguments).in_words(str(path)))
        except InputError as error:
            status = error.exit_status
            print(error, file=sys.stderr)
    return status


def _analyse(path: Path, arguments: argparse.Namespace) -> Statement:
    columns = read_readings(path)
    emf_order = _remark(path, columns, "emf_order", int, arguments.emf_order, 1)
    if emf_order not in (0, 1, 2):
        raise InputError(Fault("out of range", str(emf_order), "Write 0, 1 or 2", field="emf_order", file=str(path)))
    estimate, blocks = estimate_readings(
        columns.time_s,
        columns.current_A,
        columns.voltage_V,
        emf_order=emf_order,
        pauses=columns.pauses,
        aperture_s=_remark(path, columns, "aperture_s", float, None, math.nan),
        estimator=_remark(path, columns, "estimator", Estimator, _wanted(arguments), None),
    )
    if not blocks and not estimate.standard_uncertainty_ohm > 0:
        problem = f"no block closes: {len(columns.time_s)} readings do not determine R at EMF order {emf_order}"
        remedy = f"The current must be reversed, with at least {emf_order + 2} readings"
        raise InputError(Fault(problem, "", remedy, field="current_A", file=str(path)))
    estimate = with_traps(estimate, columns.time_s, columns.current_A, columns.voltage_V, blocks)
    budget = None
    if estimate.standard_uncertainty_ohm > 0:
        measured = _mean_temperature(columns)
        plan = budget_plan(arguments, arguments.confidence, measured)
        estimate, budget = with_budget(estimate, max(map(abs, columns.current_A)), plan)
    low, high = (_limit(arguments, name) for name in ("low", "high"))
    decision = decide(estimate, low, high, arguments.rule, arguments.guard_band)
    return Statement(estimate, budget, decision, geometry(arguments))


def _mean_temperature(columns: ReadingColumns) -> float | None:
    known = [value for value in columns.temperature_C or [] if math.isfinite(value)]
    return sum(known) / len(known) if known else None


def _limit(arguments: argparse.Namespace, name: str) -> float | None:
    text = getattr(arguments, name)
    if text is None:
        return None
    try:
        return parse(text, "ohm")
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=f"--{name}")) from error


def _wanted(arguments: argparse.Namespace) -> Estimator | None:
    return None if arguments.estimator is None else Estimator(arguments.estimator)


def _remark(
    path: Path, columns: ReadingColumns, key: str, kind: Callable[[str], T], option: T | None, default: D
) -> T | D:
    """The option; else what the head of the file says; else the default."""
    if option is not None:
        return option
    text = columns.remarks.get(key)
    if text is None:
        return default
    try:
        return kind(text)
    except ValueError as error:
        fault = Fault("cannot be read", text, "Correct the line, or remove it", field=f"# {key}", file=str(path))
        raise InputError(fault) from error
