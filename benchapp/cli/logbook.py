"""`benchapp logbook`: the record: which runs, one run, and out as CSV or JSON."""

from __future__ import annotations

import argparse
import math
import re
import sys
from pathlib import Path

from benchapp.analysis.estimate import CHOSEN_BY_NAME, Estimator
from benchapp.cli.budget_options import add_budget_options, budget_in_words, budget_plan
from benchapp.cli.decision_options import add_coverage_option, coverage, exit_with_all
from benchapp.cli.output import opened
from benchapp.errors import BenchError, Fault, InputError, QuantityError
from benchapp.logbook.database import default_path
from benchapp.logbook.export import export_csv, export_json
from benchapp.logbook.query import RunSummary, listing
from benchapp.logbook.search import VERDICTS, Search
from benchapp.quantity import parse
from benchapp.result.json_object import run_object, to_line
from benchapp.result.statement import LeftOut
from benchapp.result.validity import Validity
from benchapp.result.words import VALIDITIES, in_words, lot_in_words, plural, short_verdict, value_in_words
from benchapp.run.recorded import first_statements, open_run, reanalyse


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "logbook",
        help="the record of all runs",
        description="List the runs, show one, or export one. An exported CSV goes back into `benchapp analyse`.",
    )
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    found = verbs.add_parser("list", help="one line a run, its id first; those that fit what is given")
    found.add_argument(
        "words", nargs="*", metavar="WORD", help="anywhere in number, name, serial, operator, bench, end"
    )
    for name, example in (("specimen", "S-17"), ("serial", "4711"), ("operator", "A. Person"), ("flag", "step")):
        found.add_argument(f"--{name}", default="", metavar=f'"{example}"')
    found.add_argument("--verdict", default="", metavar="fail", help=", ".join(VERDICTS))
    for name in ("since", "until"):
        found.add_argument(f"--{name}", default="", metavar="2026-03-01", help="a day")
    found.set_defaults(run=_list)
    check = verbs.add_parser(
        "check",
        help="whether the record is as it was written",
        description="Hold every row against its digest, each run against its own, and what was stated against what its"
        " readings give. Exit status 2 where something does not agree; the runs that do are whole.",
    )
    check.add_argument("id", metavar="RUN", type=int, nargs="?", help="one run (all)")
    check.set_defaults(run=_check)
    show = verbs.add_parser("show", help="one run, as it was stated")
    show.add_argument("id", metavar="RUN", type=int)
    show.set_defaults(run=_show)
    again = verbs.add_parser(
        "reanalyse",
        help="state a run once more with other settings; both statements stay",
        description="Another EMF drift model, estimator, accuracy data, temperature or coverage probability, or without"
        " a stretch of readings. The new statement is kept beside those that the run has.",
    )
    again.add_argument("id", metavar="RUN", type=int)
    again.add_argument("--emf-order", type=int, choices=(0, 1, 2), help="EMF drift model: constant, linear, quadratic")
    again.add_argument("--estimator", choices=[str(estimator) for estimator in CHOSEN_BY_NAME])
    again.add_argument("--leave-out", metavar='"8 s to 11 s: a hand"', action="append", default=[])
    add_coverage_option(again)
    add_budget_options(again)
    again.add_argument("--json", metavar="FILE", help='the new statement as JSON, "-" for standard output')
    again.set_defaults(run=_reanalyse)
    export = verbs.add_parser("export", help="one run as a file")
    export.add_argument("id", metavar="RUN", type=int)
    export.add_argument("--salvage", action="store_true", help="of a damaged run, what can still be read")
    target = export.add_mutually_exclusive_group(required=True)
    target.add_argument("--csv", metavar="FILE", help="the readings")
    target.add_argument("--json", metavar="FILE", help="result and whole record")
    export.set_defaults(run=_export)


def _path(arguments: argparse.Namespace) -> Path:
    path: Path = arguments.logbook or default_path()
    return path


def _list(arguments: argparse.Namespace) -> int:
    names = ("specimen", "serial", "operator", "verdict", "flag", "since", "until")
    search = Search(**{name: getattr(arguments, name) for name in names}, words=tuple(arguments.words))
    found = listing(_path(arguments))
    for summary in found.runs:
        if search.lets(summary):
            print(_in_one_line(summary))
    for fault in [found.fault] if found.fault else []:
        print(f"benchapp: {_path(arguments)}: the file is damaged ({fault}). {_TAKE_A_COPY}", file=sys.stderr)
    return 2 if found.fault or any(summary.damage for summary in found.runs) else 0


_TAKE_A_COPY = "Take a copy that is whole; `benchapp logbook check` says which runs are as they were written"


def _check(arguments: argparse.Namespace) -> int:
    path = _path(arguments)
    found = listing(path)
    bad = 0
    for run_id in [arguments.id] if arguments.id is not None else [summary.run_id for summary in found.runs]:
        try:
            told = open_run(path, run_id).differs
        except BenchError as error:
            told = str(error)
        bad += bool(told)
        print(f"{run_id:>4}  {told or 'as it was written'}")
    if found.fault:
        print(f"the file itself: {found.fault}. {_TAKE_A_COPY.partition(';')[0]}")
    return 2 if bad or found.fault else 0


def _in_one_line(summary: RunSummary) -> str:
    if summary.damage:
        return f"{summary.run_id:>4}  DAMAGED: {'; '.join(summary.damage)}"
    name = summary.name
    value = gate = verdict = ""
    try:
        parts = first_statements(summary)
    except BenchError as error:
        return f"{summary.run_id:>4}  DAMAGED: {error}"
    specimens = [stated for stated in parts if not stated.is_standard]
    if len(specimens) > 1:
        value, verdict = plural(len(specimens), "part"), lot_in_words(specimens)
    elif specimens and not math.isnan(specimens[0].resistance_ohm):
        stated = specimens[0]
        value = value_in_words(stated)
        gate = "" if stated.validity is Validity.VALID else VALIDITIES[stated.validity]
        verdict = short_verdict(stated)
    cells = [
        summary.started[:19] + "Z",
        summary.status,
        plural(summary.readings, "reading"),
        gate,
        value,
        verdict,
        name,
    ]
    return f"{summary.run_id:>4}  " + "  ".join(cell for cell in cells if cell)


def _show(arguments: argparse.Namespace) -> int:
    run = open_run(_path(arguments), arguments.id)
    record, summary = run.record, run.record.summary
    print(f"run {summary.run_id}: {summary.status}, started {summary.started}, software {summary.software}")
    if summary.end_text:
        print(f"  {summary.end_text}")
    if run.differs:
        print(f"  {run.differs}")
    for number, stated in enumerate(run.statements):
        if stated.estimate.blocks:
            name = run.recipe.name or "result"
            again = number // len(run.parts)
            print(in_words(name if not again else f"re-analysis {again} of {name}", stated))
            if stated.budget is not None and len(stated.budget.contributions) > 1:
                print(budget_in_words(stated.budget))
        else:
            print(f"{f'{stated.part}: ' if stated.part else ''}no block has closed: there is no result")
    for role, identity in record.instruments.items():
        print(f"{role}: {identity} at {summary.bench.get(role, '')}")
    if summary.bench.get("operator"):
        print(f"operator: {summary.bench['operator']}")
    for role, s in record.settings:
        state = f"reads back {s.read_back}" if s.verified else "not verified"
        print(f"  {role} {s.name} = {s.asked}, {state}")
    for event in record.events:
        print(f"  {event.time_s:9.3f} s  {event.kind}: {event.text}")
    print("recipe:")
    print("".join(f"  {line}\n" for line in summary.recipe_toml.splitlines()), end="")
    return 0


def _reanalyse(arguments: argparse.Namespace) -> int:
    path = _path(arguments)
    run = open_run(path, arguments.id)
    known = budget_plan(arguments, coverage(arguments, run.recipe.confidence))
    stated = reanalyse(
        path,
        arguments.id,
        known=known,
        emf_order=arguments.emf_order,
        estimator=None if arguments.estimator is None else Estimator(arguments.estimator),
        left_out=[_stretch(text) for text in arguments.leave_out],
    )
    if arguments.json is None:
        for one in stated:
            print(in_words(run.recipe.name or f"run {arguments.id}", one))
    else:
        with opened(arguments.json, "--json", [path, arguments.instrument_card]) as stream:
            stream.write(to_line(run_object(stated, {"run_id": arguments.id})) + "\n")
    return exit_with_all(stated, None)


def _stretch(text: str) -> LeftOut:
    match = re.fullmatch(r"\s*(.+?)\s+to\s+(.+?)\s*:\s*(\S.*)", text)
    remedy = 'Write a stretch and the reason, as in "8 s to 11 s: a hand on the terminal"'
    if match is None:
        raise InputError(Fault("no stretch with its reason", text, remedy, field="--leave-out"))
    try:
        start, end = (parse(part, "s") for part in match.groups()[:2])
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field="--leave-out")) from error
    if not start < end:
        raise InputError(Fault("ends before it begins", text, remedy, field="--leave-out"))
    return LeftOut(start, end, match[3])


def _export(arguments: argparse.Namespace) -> int:
    target, option = (arguments.csv, "--csv") if arguments.csv is not None else (arguments.json, "--json")
    with opened(target, option, [_path(arguments)]) as stream:
        write = export_csv if option == "--csv" else export_json
        write(_path(arguments), arguments.id, stream, salvage=arguments.salvage)
    return 0
