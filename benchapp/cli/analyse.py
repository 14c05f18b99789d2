"""`benchapp analyse`: results of readings that stand in CSV files."""

from __future__ import annotations

import argparse
import contextlib
import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from benchapp.analysis.analyst import analyse
from benchapp.analysis.estimate import CHOSEN_BY_NAME, Estimator
from benchapp.analysis.examined.cycle import Cycle
from benchapp.analysis.examined.estimate import analyse_examined
from benchapp.analysis.levels import level_groups
from benchapp.analysis.part import analyse_part
from benchapp.analysis.turns import parts_in
from benchapp.cli.budget_options import add_budget_options, budget_plan
from benchapp.cli.decision_options import add_decision_options, add_require_option, decision_options, exit_with_all
from benchapp.cli.geometry_options import add_geometry_options, geometry
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.readings_csv import ReadingColumns, read_readings
from benchapp.result.decision import DecisionRule
from benchapp.result.json_object import run_object, to_line
from benchapp.result.material import Geometry
from benchapp.result.statement import Statement, Terms, make_statement
from benchapp.result.words import in_words

T = TypeVar("T")
D = TypeVar("D")


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "analyse",
        help="results of readings in CSV files",
        description="Analyse CSV files with the columns time_s,current_A,voltage_V[,temperature_C], one run a file."
        " A line '# pause' stands where the run was paused; an exported file says in its head how it was measured."
        " Exit, the first that applies: 2 a file"
        " cannot be analysed (the others still are), 4 a result is not valid, 1 a verdict is not the required one, 0.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE.csv", type=Path)
    parser.add_argument("--emf-order", type=int, choices=(0, 1, 2), help="order of the EMF in a block (1)")
    estimators = [str(estimator) for estimator in CHOSEN_BY_NAME]
    parser.add_argument(
        "--estimator",
        choices=estimators,
        help="how R follows from the readings (sliding; state-space where the signs are irregular)",
    )
    add_decision_options(parser)
    add_require_option(parser)
    add_budget_options(parser)
    add_geometry_options(parser)
    parser.add_argument("--json", metavar="FILE", help='one JSON object a line into this file, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Analyse each file."""
    rule, probability = decision_options(arguments)
    conductor = geometry(arguments)
    statuses = []
    inputs = [*arguments.files, arguments.instrument_card]
    target = contextlib.nullcontext() if arguments.json is None else opened(arguments.json, "--json", inputs)
    with target as stream:
        for path in arguments.files:
            try:
                statements = _analyse(path, arguments, rule, probability, conductor)
            except InputError as error:
                statuses.append(error.exit_status)
                if stream is None:
                    print(error, file=sys.stderr)
                else:
                    stream.write(to_line({"file": str(path), "error": str(error)}) + "\n")
                continue
            statuses.append(exit_with_all(statements, arguments.require))
            if stream is not None:
                stream.write(to_line(run_object(statements, {"file": str(path)})) + "\n")
                continue
            for stated in statements:
                print(in_words(str(path), stated))
    # The first that applies: bad input, nothing valid, another verdict than the required one.
    return next((status for status in (2, 4, 1) if status in statuses), 0)


def _analyse(
    path: Path, arguments: argparse.Namespace, rule: DecisionRule, probability: float, conductor: Geometry | None
) -> tuple[Statement, ...]:
    columns = read_readings(path)
    emf_order = _remark(path, columns, "emf_order", int, arguments.emf_order, 1)
    if emf_order not in (0, 1, 2):
        raise InputError(Fault("out of range", str(emf_order), "Write 0, 1 or 2", field="emf_order", file=str(path)))
    estimator = _remark(path, columns, "estimator", Estimator, _wanted(arguments), None)
    aperture_s = _remark(path, columns, "aperture_s", _above_zero, None, math.nan)
    readings = np.array([columns.time_s, columns.current_A, columns.voltage_V], dtype=float)
    parts = parts_in(columns.parts, readings.shape[1], columns.pauses)
    if columns.parts and columns.parts[0][0] > 0:
        remedy = "Write a line '# part NAME' before the first reading, or take all of them away"
        raise InputError(Fault("the first readings are of no part", "", remedy, field="# part", file=str(path)))
    if parts:
        estimates = [
            (part.name, part.indices, analyse_part(
                readings[:, part.indices], part, emf_order=emf_order, aperture_s=aperture_s, estimator=estimator
            )[0])
            for part in parts
        ]  # fmt: skip
    elif estimator is Estimator.EXAMINED:
        cycle = Cycle(columns.remarks.get("third_level") == "true")
        if not cycle.fits(readings[1]) or math.isnan(aperture_s):
            problem = "the currents are not those of an examined run from its first reading on, or no aperture_s stands"
            problem += " in the head"
            remedy = "Leave the readings as they were exported, or choose another one by --estimator"
            raise InputError(Fault(problem, "", remedy, field="current_A", file=str(path)))
        whole, _ = analyse_examined(readings, cycle, aperture_s=aperture_s, emf_order=emf_order, pauses=columns.pauses)
        estimates = [("", np.arange(readings.shape[1]), whole)]
    else:
        whole, _ = analyse(
            *readings,
            emf_order=emf_order,
            pauses=columns.pauses,
            aperture_s=aperture_s,
            estimator=estimator,
        )
        estimates = [("", np.arange(readings.shape[1]), whole)]
    if not any(estimate.blocks or estimate.standard_uncertainty_ohm > 0 for _, _, estimate in estimates):
        problem = f"no block closes: {len(columns.time_s)} readings do not determine R at EMF order {emf_order}"
        remedy = f"The current must be reversed, with at least {emf_order + 2} readings"
        raise InputError(Fault(problem, "", remedy, field="current_A", file=str(path)))
    known = replace(
        budget_plan(arguments, probability, _mean_temperature(columns)),
        range_V=_remark(path, columns, "range_V", _above_zero, None, None),
        source_range_A=_remark(path, columns, "source_range_A", _above_zero, None, None),
    )
    terms = Terms(
        current_A=max(map(abs, level_groups(np.asarray(columns.current_A)).levels_A)),
        rule=rule,
        known=known,
        geometry=conductor,
        estimator=str(estimator or ""),
        emf_order=emf_order,
        tells_compliance=columns.remarks.get("tells_compliance") == "true",
    )
    return tuple(
        make_statement(estimate, readings[1, indices], replace(terms, part=name))
        for name, indices, estimate in estimates
    )


def _mean_temperature(columns: ReadingColumns) -> float | None:
    known = [value for value in columns.temperature_C or [] if math.isfinite(value)]
    return sum(known) / len(known) if known else None


def _wanted(arguments: argparse.Namespace) -> Estimator | None:
    return None if arguments.estimator is None else Estimator(arguments.estimator)


def _above_zero(text: str) -> float:
    value = float(text)
    if not 0 < value <= 1e9:
        raise ValueError
    return value


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
