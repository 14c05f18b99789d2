"""`benchapp budget`: what a recorded result's uncertainty is made of."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from benchapp.cli.budget_options import (
    BUDGET_OPTIONS,
    add_budget_options,
    budget_in_words,
    budget_plan,
    validation_in_words,
)
from benchapp.cli.decision_options import add_coverage_option, coverage
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.result.json_object import statement_object, to_line
from benchapp.result.monte_carlo import validate
from benchapp.result.words import in_words
from benchapp.run.recorded import open_run, restated
from benchapp.run.stating import headline


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "budget",
        help="the uncertainty budget of a run",
        description="The uncertainty budget (JCGM 100) of a recorded run: scatter from its readings, the rest from an"
        " accuracy data and the temperature.",
    )
    parser.add_argument("id", metavar="RUN", type=int)
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--part", metavar="NAME", help="of several on a scanner (the first that is no standard)")
    add_coverage_option(parser)
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
    """The budget as it was stated; with options, that of another statement, which is not kept."""
    run = open_run(arguments.logbook or default_path(), arguments.id)
    stated = headline(run.parts, arguments.part or "")
    if arguments.part and stated.part != arguments.part:
        known_parts = ", ".join(one.part for one in run.parts if one.part) or "none"
        raise InputError(Fault("the run has no such part", arguments.part, f"It has {known_parts}", field="--part"))
    if any(getattr(arguments, name) is not None for name in (*BUDGET_OPTIONS, "confidence")):
        known = budget_plan(arguments, coverage(arguments, run.recipe.confidence))
        stated = headline(restated(run, known), arguments.part or "")
    if stated.budget is None:
        raise InputError(
            Fault("the run has no interval: fewer than two blocks", str(arguments.id), "Choose another", "RUN")
        )
    validation = validate(stated.resistance_ohm, stated.budget)
    if arguments.json is None:
        print(in_words(run.recipe.name or f"run {arguments.id}", stated))
        print(budget_in_words(stated.budget))
        if validation is not None:
            print(validation_in_words(validation))
        return 0
    inputs = [arguments.logbook or default_path(), arguments.instrument_card]
    with opened(arguments.json, "--json", inputs) as stream:
        beside = {"monte_carlo": None if validation is None else asdict(validation)}
        stream.write(to_line({**statement_object(stated, {"run_id": arguments.id}), **beside}) + "\n")
    return 0
