"""`benchapp logbook`: the record: which runs, one run, and out as CSV or JSON."""

from __future__ import annotations

import argparse
import tomllib
from pathlib import Path

from benchapp.cli.output import in_words, opened
from benchapp.logbook.database import default_path
from benchapp.logbook.export import computed_result, export_csv, export_json
from benchapp.logbook.query import RunSummary, list_runs, load_run
from benchapp.quantity import concise, engineering


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
    recipe, estimate, verdict = computed_result(record)
    print(f"run {summary.run_id}: {summary.status}, started {summary.started}, software {summary.software}")
    if summary.end_text:
        print(f"  {summary.end_text}")
    if estimate.blocks:
        print(in_words(recipe.name or "result", estimate, verdict))
    else:
        print("no block has closed: there is no result")
    for line in _as_stated(summary):
        print(line)
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


def _as_stated(summary: RunSummary) -> list[str]:
    """What was stated at the end of the run, where more was known than the readings tell."""
    result = summary.result or {}
    rows = result.get("budget") or []
    if len(rows) < 2:
        return []
    value = concise(result["resistance_ohm"], result["standard_uncertainty_ohm"], "ohm")
    U = engineering(result["expanded_uncertainty_ohm"], "ohm", 2)
    lines = [f"stated with its budget: R = {value}, ± {U} ({result['coverage_probability']:.0%})"]
    lines += [f"  {row['share']:6.1%}  {row['name']}" for row in rows if row["share"] > 0.001]
    if result.get("verdict"):
        lines.append(f"  verdict: {result['verdict']}")
    return lines


def _export(arguments: argparse.Namespace) -> int:
    target, option = (arguments.csv, "--csv") if arguments.csv is not None else (arguments.json, "--json")
    with opened(target, option) as stream:
        (export_csv if option == "--csv" else export_json)(_path(arguments), arguments.id, stream)
    return 0
