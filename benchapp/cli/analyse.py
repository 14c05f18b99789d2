"""`benchapp analyse`: results of readings that stand in CSV files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from benchapp.analysis.estimate import Estimate, estimate_readings
from benchapp.cli.output import in_words, opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.readings_csv import read_readings
from benchapp.result_json import result_object, to_line


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "analyse",
        help="results of readings in CSV files",
        description="Analyse CSV files with the columns time_s,current_A,voltage_V[,temperature_C], one run a file."
        " A line '# pause' stands where the run was paused. Exit 2 where a file cannot be analysed; the others still"
        " are.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE.csv", type=Path)
    parser.add_argument("--emf-order", type=int, choices=(0, 1, 2), default=1, help="order of the EMF in a block (1)")
    parser.add_argument("--json", metavar="FILE", help='one JSON object a line into this file, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Analyse each file."""
    if arguments.json is None:
        return _in_words(arguments.files, arguments.emf_order)
    status = 0
    with opened(arguments.json, "--json") as stream:
        for path in arguments.files:
            try:
                line = to_line(result_object({"file": str(path)}, _analyse(path, arguments.emf_order)))
            except InputError as error:
                status = error.exit_status
                line = to_line({"file": str(path), "error": str(error)})
            stream.write(line + "\n")
    return status


def _in_words(files: list[Path], emf_order: int) -> int:
    status = 0
    for path in files:
        try:
            print(in_words(str(path), _analyse(path, emf_order)))
        except InputError as error:
            status = error.exit_status
            print(error, file=sys.stderr)
    return status


def _analyse(path: Path, emf_order: int) -> Estimate:
    columns = read_readings(path)
    estimate, blocks = estimate_readings(
        columns.time_s, columns.current_A, columns.voltage_V, emf_order=emf_order, pauses=columns.pauses
    )
    if not blocks:
        problem = f"no block closes: {len(columns.time_s)} readings do not determine R at EMF order {emf_order}"
        remedy = f"The current must be reversed, with at least {emf_order + 2} readings"
        raise InputError(Fault(problem, "", remedy, field="current_A", file=str(path)))
    return estimate
