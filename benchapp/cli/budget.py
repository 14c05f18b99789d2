"""`benchapp budget`: what a recorded result's uncertainty is made of."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from benchapp.cli.budget_options import (
    add_budget_options,
    budget_in_words,
    budget_plan,
    validation_in_words,
)
from benchapp.cli.output import in_words, opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.logbook.query import load_run
from benchapp.logbook.replay import recipe_of, replay
from benchapp.result.budget import with_budget
from benchapp.result.json_object import budget_rows, result_object, to_line
from benchapp.result.monte_carlo import validate


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "budget",
        help="the uncertainty budget of a run",
        description="The uncertainty budget (JCGM 100) of a recorded run: scatter from its readings, the rest from an"
        " instrument card and the temperature.",
    )
    parser.add_argument("id", metavar="RUN", type=int)
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--confidence", type=float, default=None, help="coverage probability (that of the recipe)")
    parser.add_argument(
        "--json",
        metavar="FILE",
        nargs="?",
        const="-",
        help='as JSON into this file, "-" (or nothing) for standard output',
    )
    add_budget_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Compute and print."""
    record = load_run(arguments.logbook or default_path(), arguments.id)
    recipe = recipe_of(record)
    estimate, blocks = replay(record, recipe)
    if len(blocks) < 2:
        raise InputError(
            Fault("the run has no interval: fewer than two blocks", str(arguments.id), "Choose another", "RUN")
        )
    confidence = arguments.confidence if arguments.confidence is not None else recipe.confidence
    if not 0.5 <= confidence < 1:
        raise InputError(Fault("out of range", str(confidence), "Write for example 0.95", field="--confidence"))
    plan = budget_plan(arguments, confidence, settle_s=recipe.settle_s, aperture_s=recipe.aperture_s)
    estimate, budget = with_budget(estimate, recipe.current_A, plan)
    validation = validate(estimate.resistance_ohm, budget)
    if arguments.json is None:
        print(in_words(recipe.name or f"run {arguments.id}", estimate))
        print(budget_in_words(budget))
        if validation is not None:
            print(validation_in_words(validation))
        return 0
    with opened(arguments.json, "--json") as stream:
        result = result_object({"run_id": arguments.id}, estimate)
        beside = {"budget": budget_rows(budget), "monte_carlo": None if validation is None else asdict(validation)}
        stream.write(to_line({**result, **beside}) + "\n")
    return 0
