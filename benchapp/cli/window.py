"""`benchapp` without a command: the window, or, without a display, a run in the terminal."""

from __future__ import annotations

import argparse
import sys

from benchapp.cli import measure
from benchapp.logbook.database import default_path
from sim.scenario import DEFAULT_SCENARIO


def run(_: argparse.Namespace) -> int:
    """Open the window where there is a display; else measure on the simulated bench and say where the record is."""
    if _can_show():
        from benchapp.ui.app import run_window

        return run_window(default_path())
    print("There is no display here: measuring on a simulated bench in the terminal.", file=sys.stderr)
    parser = argparse.ArgumentParser()
    measure.add_parser(parser.add_subparsers())
    status = measure.run(parser.parse_args(["measure", "--scenario", DEFAULT_SCENARIO]))
    print(f"The record is in {default_path()}; `benchapp logbook list` shows it.", file=sys.stderr)
    return status


def _can_show() -> bool:
    try:
        from benchapp.ui.app import can_show
    except ImportError:
        return False
    return can_show()
