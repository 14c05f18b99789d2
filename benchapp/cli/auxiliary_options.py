"""Options for thermometer, switch and polarity switch."""

from __future__ import annotations

import argparse

from benchapp.bench.auxiliary import AuxiliaryPlan


def add_auxiliary_options(parser: argparse.ArgumentParser) -> None:
    """--thermometer, --switch and --polarity-switch with their dialects and channels."""
    parser.add_argument("--thermometer", metavar="ADDR", help="tells the specimen's temperature before the run")
    parser.add_argument("--thermometer-dialect", metavar="NAME_OR_FILE", default="scpi")
    parser.add_argument(
        "--switch",
        metavar="ADDR",
        help="connects the specimen for the run, or as a scanner the parts of --channels in turns",
    )
    parser.add_argument("--switch-dialect", metavar="NAME_OR_FILE", default="scpi")
    parser.add_argument("--channel", metavar="N", help="the switch's channel with the specimen")
    parser.add_argument(
        "--polarity-switch",
        metavar="ADDR",
        help="turns the current of a unipolar source, at zero current",
    )
    parser.add_argument("--polarity-channels", metavar='"1,2"', help="its channels for one polarity and the other")


def auxiliary_plan(arguments: argparse.Namespace, *, turns: bool = False) -> AuxiliaryPlan:
    """What the options say; `turns`: the run moves the switch itself. Raises InputError."""
    plan = AuxiliaryPlan(
        arguments.thermometer or "",
        arguments.thermometer_dialect,
        arguments.switch or "",
        arguments.switch_dialect,
        arguments.channel or "",
        arguments.polarity_switch or "",
        arguments.polarity_channels or "",
        turns,
    )
    plan.check()
    return plan
