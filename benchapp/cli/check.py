"""`benchapp check`: a few seconds at a small part of the current, before a run: leads, contacts, noise, settling."""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict

from benchapp.check.take import DEFAULT_PART
from benchapp.cli.budget_options import budget_plan
from benchapp.cli.checking import checked, in_words, may_start
from benchapp.cli.measure import add_run_options, bench_of, entries_of
from benchapp.cli.output import opened
from benchapp.cli.scenarios import loaded
from benchapp.clock import ScaledClock
from benchapp.errors import Fault, InputError
from benchapp.recipe import build_recipe
from benchapp.result.json_object import to_line


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "check",
        help="leads, contacts, noise and settling before a run, at 1 %% of the current",
        description="Connect, switch on at 1 % of the recipe's current with the least compliance (a first step far"
        " below it), read for a few seconds, switch off, and say of each test its figure, its limit, where it points"
        " and what to do. Exit 4 where a run would not be valid. What 1 % cannot show: the compliance at the full"
        " current, warming, the resistance of the leads.",
    )
    add_run_options(parser)
    parser.add_argument("--at", metavar='"1 %%"', default="1 %", help="part of the current (1 %%)")
    parser.add_argument("--json", metavar="FILE", help='the findings as JSON, "-" for standard output')
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check once; 4 where the gate would shut, 0 else."""
    scenario = loaded(arguments.scenario) if arguments.scenario else None
    recipe = build_recipe(entries_of(arguments, scenario))
    known = budget_plan(arguments, recipe.confidence, None, recipe.settle_s, recipe.aperture_s)
    part = part_of_current(arguments.at)
    with bench_of(arguments, scenario, recipe) as plan:
        found = checked(plan, recipe, known, ScaledClock(arguments.speed), part)
    if arguments.json is not None:
        with opened(arguments.json, "--json", [arguments.recipe, arguments.instrument_card]) as stream:
            rows = [{**asdict(one), "state": str(one.state), "effect": str(one.effect)} for one in found]
            stream.write(to_line({"at": part, "findings": rows, "may_start": may_start(found)}) + "\n")
    else:
        print("\n".join(in_words(found)))
    return 0 if may_start(found) else 4


def part_of_current(text: str) -> float:
    """From "1 %" or "0.01"; DEFAULT_PART where nothing else is typed. Raises InputError."""
    match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(%)?\s*", text)
    part = float(match[1]) * (0.01 if match[2] else 1.0) if match else 0.0
    if not 0 < part <= 1:
        remedy = f'Write a part of the current, as in "{DEFAULT_PART:.0%}" or "10 %"'
        raise InputError(Fault("no part of the current", text, remedy, field="--at"))
    return part
