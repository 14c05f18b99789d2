"""`benchapp report`: a run as a page to read and print, or as data."""

from __future__ import annotations

import argparse
from pathlib import Path

from benchapp.logbook.database import default_path
from benchapp.report.write import write_report


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The command's options."""
    parser = commands.add_parser("report", help="write a run as a report: PDF, HTML, JSON or CSV by the file's name")
    parser.add_argument("run_id", type=int, metavar="RUN", help="its number in the logbook")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE.pdf", help="or .html, .json, .csv")
    parser.add_argument("--part", default="", metavar="NAME", help="of several parts on a scanner")
    parser.add_argument("--logbook", type=Path, default=None, help="another logbook than the usual one")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write it. Raises InputError, LogbookError."""
    number = write_report(arguments.logbook or default_path(), arguments.run_id, arguments.out, arguments.part)
    print(f"{number} is in {arguments.out}")
    return 0
