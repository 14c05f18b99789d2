"""`benchapp plan`: from a target uncertainty to a recipe, or what stands in its way."""

from __future__ import annotations

import argparse
import math
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.bench.limits import load_limits
from benchapp.cli.budget_options import budget_plan
from benchapp.cli.measure import add_run_options, bench_of, entries_of
from benchapp.cli.output import opened
from benchapp.cli.recording import record
from benchapp.cli.scenarios import loaded
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.plan.learnt import Learnt, learn
from benchapp.plan.optimum import Plan, Proposal, Wish, plan
from benchapp.plan.wish import wish_of
from benchapp.plan.words import plan_in_words
from benchapp.recipe import build_recipe, recipe_to_toml
from benchapp.recipe_rules import STOP_KEYS
from benchapp.recipe_values import Entry
from benchapp.result.json_object import to_line
from benchapp.run.recorded import open_run
from sim.scenario import Scenario


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "plan",
        help="from a target uncertainty to a recipe",
        description="Find current, range, aperture, dwell and time with which nine of ten runs reach a target"
        " uncertainty, accuracy data included; else say what stands in the way. The noise comes from the accuracy data"
        " (noise_nV_per_rt_Hz) or from a recorded run of the same bench.",
    )
    add_run_options(parser)
    parser.add_argument("--target", metavar='"0.02 %%"', required=True, help="expanded uncertainty: %%, ppm or ohm")
    parser.add_argument("--max-current", metavar='"5 A"', help="permitted (the house limit)")
    parser.add_argument("--max-power", metavar='"0.1 W"', help="permitted in the specimen (the house limit)")
    parser.add_argument("--max-voltage", metavar='"20 mV"', help="permitted over the specimen, as for a dry circuit")
    parser.add_argument("--max-time", metavar='"2 min"', help="that a run may take")
    parser.add_argument("--from-run", metavar="RUN", type=int, help="learn noise and pace from this run in the logbook")
    parser.add_argument("--look", metavar='"60 s"', help="measure so long first, by the recipe, and learn from it")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--out", metavar="FILE", help="write the recipe there")
    parser.add_argument("--json", metavar="FILE", help="write the plan as JSON, - for standard output")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Plan; 4 where the target is not reached."""
    scenario = loaded(arguments.scenario) if arguments.scenario else None
    entries = entries_of(arguments, scenario)
    if arguments.look is not None:
        run_id = _look(arguments, entries, scenario)
        if run_id is None:
            return 4
        arguments.from_run = run_id
    wish, learnt = _wish(arguments, entries)
    found = plan(wish)
    if arguments.json is not None:
        with opened(arguments.json, "--json", [arguments.instrument_card]) as stream:
            stream.write(to_line(_object(wish, found, learnt)) + "\n")
    else:
        print("\n".join(plan_in_words(wish, found, learnt)))
    if found.proposals and arguments.out is not None:
        with opened(arguments.out, "--out", [arguments.instrument_card]) as stream:
            stream.write(recipe_to_toml(found.proposals[0].recipe))
        if arguments.json is None:
            print(f"The recipe is in {arguments.out}")
    return 0 if found.proposals else 4


def _look(arguments: argparse.Namespace, entries: dict[str, Entry], scenario: Scenario | None) -> int | None:
    """A run by the recipe for as long as asked; its number, None where it was broken off."""
    if arguments.from_run is not None:
        raise InputError(Fault("stands beside --from-run", arguments.look, "Choose one of them", field="--look"))
    own = {key: entry for key, entry in entries.items() if key not in (*STOP_KEYS, "examine", "third_level")}
    recipe = build_recipe({**own, "duration": Entry(arguments.look, "--look")})
    with bench_of(arguments, scenario, recipe) as plan:
        return record(arguments, arguments.logbook or default_path(), plan, recipe, scenario)


def _wish(arguments: argparse.Namespace, entries: dict[str, Entry]) -> tuple[Wish, Learnt | None]:
    known = budget_plan(arguments, 0.95)
    learnt = None
    if arguments.from_run is not None:
        recorded = open_run(arguments.logbook or default_path(), arguments.from_run)
        columns = recorded.record.readings
        t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
        learnt = learn(recorded.recipe, t, I, V, f"run {arguments.from_run}")
    names = ("target", "max-current", "max-power", "max-voltage", "max-time")
    texts = {name: getattr(arguments, name.replace("-", "_")) for name in names}
    for key in ("nominal", "settle", "line_frequency"):
        if key in entries:
            texts[key.replace("_", "-")] = str(entries[key].value)
    return wish_of(texts, known, load_limits(), learnt, examine=bool(arguments.examine)), learnt


def _object(wish: Wish, found: Plan, learnt: Learnt | None) -> dict[str, Any]:
    def proposal(one: Proposal) -> dict[str, Any]:
        return {
            "current_A": one.recipe.current_A,
            "range_V": one.recipe.range_V,
            "nplc": one.recipe.nplc,
            "signs": one.recipe.signs,
            "settle_s": one.recipe.settle_s,
            "examine": one.recipe.examine,
            "readings": one.readings,
            "time_s": one.time_s,
            "power_W": one.power_W,
            "voltage_V": one.voltage_V,
            "expanded_uncertainty_ohm": one.median_U_ohm,
            "nine_of_ten_below_ohm": one.mostly_U_ohm,
            "scope": str(one.scope),
            "limited_by": one.largest.name,
            "recipe": recipe_to_toml(one.recipe),
        }

    floor = found.floor
    return {
        "nominal_ohm": wish.nominal_ohm,
        "target_ohm": wish.target_ohm,
        "reached": bool(found.proposals),
        "noise": asdict(replace(wish.noise)),
        "pace": asdict(wish.pace),
        "learnt_from_readings": None if learnt is None else learnt.readings,
        "proposals": [proposal(one) for one in found.proposals],
        "in_time": None if found.in_time is None else proposal(found.in_time),
        "floor": None
        if floor is None
        else {
            "current_A": floor.current_A,
            "expanded_uncertainty_ohm": floor.U_ohm,
            "largest": floor.largest.name,
            "needed_factor": floor.needed_factor if math.isfinite(floor.needed_factor) else None,
        },
    }
