"""Options that name a simulated bench, shared by the commands that can start one."""

from __future__ import annotations

import argparse
import re

from benchapp.errors import Fault, InputError
from drivers.plain import shortened
from sim.scenario import Scenario, ScenarioError, load_scenario, scenario_names


def add_scenario_options(parser: argparse.ArgumentParser, default: str | None) -> None:
    """--scenario, --seed and --speed."""
    names = ", ".join(scenario_names())
    default_text = f"; without it: {default}" if default else ""
    parser.add_argument(
        "--scenario", metavar="NAME", default=default, help=f"simulated bench: {names}, or a .toml file{default_text}"
    )
    parser.add_argument("--seed", type=_seed, metavar="WHOLE", help="seed of its noise, instead of the bench's own")
    parser.add_argument("--speed", type=_speed, default=1.0, help="bench time runs so many times faster (1)")


def loaded(name: str) -> Scenario:
    """The bench of that name. Raises InputError."""
    try:
        return load_scenario(name)
    except ScenarioError as error:
        problem, _, remedy = str(error).rpartition(". ")
        raise InputError(Fault(problem, "", remedy + ".", field="--scenario")) from error


def _seed(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,18}", text):
        raise argparse.ArgumentTypeError(f"{shortened(text)!r} is no seed; write a whole number, 0 or more")
    return int(text)


def _speed(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.1 <= value <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; write a number from 0.1 to 1000")
    return value
