"""`benchapp logbook`: the record: which runs, one run, and out as CSV or JSON."""

from __future__ import annotations

import argparse
import dataclasses
import tomllib
from pathlib import Path
from typing import Any

from benchapp.analysis.decision import judge_limits
from benchapp.analysis.estimate import Estimate
from benchapp.cli.output import in_words, opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.logbook.query import RunRecord, RunSummary, list_runs, load_run
from benchapp.logbook.readings_csv import write_readings
from benchapp.logbook.replay import recipe_of, replay
from benchapp.quantity import concise
from benchapp.recipe import Recipe
from benchapp.result_json import result_object, to_line


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "logbook",
        help="the record of all runs",
        description="List the runs, show one, or export one. An exported CSV goes back into `benchapp analyse`.",
    )
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    verbs.add_parser("list", help="one line a run, its id first").set_defaults(run=_list)
    show = verbs.add_parser("show", help="one run, its result computed from its readings")
    show.add_argument("id", metavar="RUN", type=int)
    show.set_defaults(run=_show)
    export = verbs.add_parser("export", help="one run as a file")
    export.add_argument("id", metavar="RUN", type=int)
    target = export.add_mutually_exclusive_group(required=True)
    target.add_argument("--csv", metavar="FILE", help="the readings")
    target.add_argument("--json", metavar="FILE", help="result and whole record")
    export.set_defaults(run=_export)


def _path(arguments: argparse.Namespace) -> Path:
    path: Path = arguments.logbook or default_path()
    return path


def _list(arguments: argparse.Namespace) -> int:
    for summary in list_runs(_path(arguments)):
        print(_in_one_line(summary))
    return 0


def _in_one_line(summary: RunSummary) -> str:
    name = str(tomllib.loads(summary.recipe_toml).get("name", ""))
    value = ""
    if summary.result is not None and summary.result["resistance_ohm"] is not None:
        u = summary.result["standard_uncertainty_ohm"]
        value = concise(summary.result["resistance_ohm"], u if u is not None else 0.0, "ohm")
    cells = [summary.started[:19] + "Z", summary.status, f"{summary.readings} readings", value, name]
    return f"{summary.run_id:>4}  " + "  ".join(cell for cell in cells if cell)


def _show(arguments: argparse.Namespace) -> int:
    record = load_run(_path(arguments), arguments.id)
    summary = record.summary
    recipe, estimate, verdict = _result(record)
    print(f"run {summary.run_id}: {summary.status}, started {summary.started}, software {summary.software}")
    if summary.end_text:
        print(f"  {summary.end_text}")
    if estimate.blocks:
        print(in_words(recipe.name or "result", estimate, verdict))
    else:
        print("no block has closed: there is no result")
    for role, identity in record.instruments.items():
        print(f"{role}: {identity} at {summary.bench.get(role, '')}")
    for role, s in record.settings:
        state = f"reads back {s.read_back}" if s.verified else "not verified"
        print(f"  {role} {s.name} = {s.asked}, {state}")
    for event in record.events:
        print(f"  {event.time_s:9.3f} s  {event.kind}: {event.text}")
    print("recipe:")
    print("".join(f"  {line}\n" for line in summary.recipe_toml.splitlines()), end="")
    return 0


def _export(arguments: argparse.Namespace) -> int:
    record = load_run(_path(arguments), arguments.id)
    columns = record.readings
    if arguments.csv is not None:
        if not columns.time_s:
            raise InputError(Fault("the run has no readings", str(arguments.id), "Choose another run", field="RUN"))
        rows = zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)
        with opened(arguments.csv, "--csv") as stream:
            write_readings(stream, rows, columns.pauses)
        return 0
    with opened(arguments.json, "--json") as stream:
        stream.write(to_line(_as_object(record)) + "\n")
    return 0


def _as_object(record: RunRecord) -> dict[str, Any]:
    """The result, and under "record" all that it rests on."""
    summary = record.summary
    _, estimate, verdict = _result(record)
    columns = record.readings
    return {
        **result_object({"run_id": summary.run_id}, estimate, verdict),
        "record": {
            "started": summary.started,
            "ended": summary.ended or None,
            "status": summary.status,
            "end_text": summary.end_text,
            "software": summary.software,
            "recipe": tomllib.loads(summary.recipe_toml),
            "bench": summary.bench,
            "instruments": record.instruments,
            "settings": [{"role": role, **dataclasses.asdict(setting)} for role, setting in record.settings],
            "events": [dataclasses.asdict(event) for event in record.events],
            "time_s": columns.time_s,
            "current_A": columns.current_A,
            "voltage_V": columns.voltage_V,
        },
    }


def _result(record: RunRecord) -> tuple[Recipe, Estimate, str | None]:
    recipe = recipe_of(record)
    estimate, _ = replay(record, recipe)
    verdict = judge_limits(estimate.resistance_ohm, estimate.expanded_uncertainty_ohm, recipe.low_ohm, recipe.high_ohm)
    return recipe, estimate, None if verdict is None else str(verdict)
