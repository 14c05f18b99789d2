"""`benchapp study KIND`: a study as a run of runs, kept in the logbook, resumable, with its conclusion."""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import asdict
from pathlib import Path

from benchapp.bench.plan import BenchPlan
from benchapp.cli.auxiliary_options import auxiliary_plan
from benchapp.cli.measure import add_run_options, bench_of, entries_of
from benchapp.cli.output import opened
from benchapp.cli.recording import record
from benchapp.cli.scenarios import loaded
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.recipe import Recipe, build_recipe, entries_from_text, recipe_to_toml
from benchapp.recipe_values import Entry
from benchapp.result.json_object import to_line
from benchapp.study.conclusion import Conclusion
from benchapp.study.kinds import KINDS, Step
from benchapp.study.recorded import StudyKey, conclude, recipe_of_study, studies, study_of
from benchapp.study.words import conclusion_in_words
from sim.scenario import Scenario

_LIST, _SHOW = "list", "show"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    kinds = "; ".join(f"{name}: {kind.about}" for name, kind in KINDS.items())
    parser = commands.add_parser(
        "study",
        help="settling, power, linearity, temperature, stability, noise floor, comparison, reconnection",
        description=f"A run of runs with a fit and a conclusion. {kinds}. `study list` shows those in the logbook,"
        " `study show --study N` concludes one anew from its runs.",
    )
    parser.add_argument("kind", metavar="KIND", choices=[*KINDS, _LIST, _SHOW])
    add_run_options(parser)
    parser.add_argument("--repeats", metavar="N", type=_count, help="how often all of it is measured")
    parser.add_argument("--resume", metavar="STUDY", type=int, help="go on with a study that was left")
    parser.add_argument("--study", metavar="STUDY", type=int, help="for show: its number, that of its first run")
    parser.add_argument("--operator", metavar="...", help="who measures; written down with the runs")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--json", metavar="FILE", help='the conclusion as JSON, "-" for standard output')
    parser.add_argument("--apply", metavar="FILE", help="write the recipe with what the study found, old and new shown")
    parser.set_defaults(run=run)


def _count(text: str) -> int:
    if not text.isdigit() or not 0 < int(text) <= 1000:
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is no count; write a whole number, 1 to 1000")
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    """Measure what is missing, then conclude; 4 where a run did not end by its rule, or the data cannot tell."""
    path = arguments.logbook or default_path()
    if arguments.kind == _LIST:
        for one in studies(path):
            state = "whole" if one.whole else f"{len(one.runs)} of {one.of} runs"
            print(f"{one.study_id:>6}  {one.kind:<14}{state}")
        return 0
    if arguments.kind == _SHOW:
        if arguments.study is None:
            raise InputError(Fault("missing", "", "Write the study's number", field="--study"))
        return _concluded(arguments, path, arguments.study)
    study_id = _measured(arguments, path)
    return 4 if study_id is None else _concluded(arguments, path, study_id)


def _measured(arguments: argparse.Namespace, path: Path) -> int | None:
    """Every step that is missing; the study's number, None where one was broken off."""
    scenario = loaded(arguments.scenario) if arguments.scenario else None
    recipe = build_recipe(entries_of(arguments, scenario))
    kind = KINDS[arguments.kind]
    first, start, repeats = 0, 0, arguments.repeats or kind.repeats
    if arguments.resume is not None:
        left = study_of(path, arguments.resume)
        if left.kind != arguments.kind:
            raise InputError(
                Fault(f"is a study of {left.kind}", str(left.study_id), "Name that kind", field="--resume")
            )
        first, start, repeats = left.study_id, left.next_step, left.repeats
    steps = kind.steps(recipe, repeats)
    with bench_of(arguments, scenario, recipe) as bench, auxiliary_plan(arguments).turned(bench) as plan:
        for number, step in enumerate(steps):
            if number < start:
                continue
            key = StudyKey(first, arguments.kind, number, len(steps), repeats)
            run_id = _one(arguments, path, plan, step, key, scenario)
            if run_id is None:
                if first:
                    print(f"Go on with: benchapp study {arguments.kind} --resume {first}", file=sys.stderr)
                return None
            first = first or run_id
    return first


def _one(
    arguments: argparse.Namespace, path: Path, plan: BenchPlan, step: Step, key: StudyKey, scenario: Scenario | None
) -> int | None:
    """One run into the logbook; None where it did not end by its rule."""
    print(f"{key.kind}: run {key.step + 1} of {key.of}", file=sys.stderr)
    if step.before and scenario is None:
        print(f"{step.before}, then press Enter.", file=sys.stderr)
        if not sys.stdin.readline():
            return None
    return record(arguments, path, plan, step.recipe, scenario, study=key.told)


def _concluded(arguments: argparse.Namespace, path: Path, study_id: int) -> int:
    study = study_of(path, study_id)
    found = conclude(path, study)
    if arguments.json is not None:
        with opened(arguments.json, "--json", [path]) as stream:
            stream.write(to_line(_object(study_id, found)) + "\n")
    else:
        print("\n".join(conclusion_in_words(study_id, found)))
    if arguments.apply is not None:
        _apply(arguments.apply, recipe_of_study(path, study), found, path)
    return 0 if found.tells else 4


def _object(study_id: int, found: Conclusion) -> dict[str, object]:
    figures = [
        {
            key: None if isinstance(value, float) and not math.isfinite(value) else value
            for key, value in asdict(one).items()
        }
        for one in found.figures
    ]
    picture = None
    if found.picture is not None:
        picture = dict(zip(("x", "seen", "fit"), (column.tolist() for column in found.picture), strict=True))
    return {
        "study": study_id,
        "kind": found.kind,
        "tells": found.tells,
        "text": found.text,
        "figures": figures,
        "changes": found.changes,
        "picture": picture,
    }


def _apply(target: str, recipe: Recipe, found: Conclusion, path: Path) -> None:
    """The recipe of the study's first run with what was found; each change is shown, old and new."""
    text = recipe_to_toml(recipe)
    entries = entries_from_text(text, "the study's recipe")
    for key, value in found.changes.items():
        old = entries[key].value if key in entries else "(none)"
        print(f"{key}: {old} -> {value}")
        entries[key] = Entry(value, key, "the study")
    changed = build_recipe(entries)
    with opened(target, "--apply", [path]) as stream:
        stream.write(recipe_to_toml(changed))
