"""The entry point `benchapp`."""

from __future__ import annotations

import argparse
import sys

from benchapp.cli import (
    analyse,
    budget,
    check,
    compare,
    instruments,
    logbook,
    measure,
    off,
    plan,
    report,
    simulate,
    study,
    watch,
    window,
)
from benchapp.cli.terminal import plain_output
from benchapp.errors import BenchError
from benchapp.version import VERSION
from drivers.errors import InstrumentError

_EPILOG = (
    "exit status, the first that applies: 2 bad input; 3 instrument trouble, or an output that is not proved off;"
    " 4 stopped for safety, without a result, or with one that is not valid; 1 a verdict other than the one that"
    " --require asks; 0"
)


def main(arguments: list[str] | None = None) -> int:
    """Run one command; the exit status."""
    with plain_output() as out:
        status = _run(sys.argv[1:] if arguments is None else arguments)
        out.flush()
        if out.fault is not None:
            print(f"benchapp: standard output cannot be written ({out.fault.strerror})", file=sys.stderr)
            status = status or 2
    return status


def _run(arguments: list[str]) -> int:
    parsed = _parser().parse_args(_join_signs(arguments))
    try:
        status: int = parsed.run(parsed)
    except BenchError as error:
        print(f"benchapp: {error}", file=sys.stderr)
        return error.exit_status
    except InstrumentError as error:
        print(f"benchapp: {error}", file=sys.stderr)
        return 3
    except KeyboardInterrupt:
        print("benchapp: stopped", file=sys.stderr)
        return 4
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="benchapp",
        description="Measure very small resistances by current reversal. Without a command: the window.",
        epilog=_EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"benchapp {VERSION}")
    parser.set_defaults(run=window.run)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    measure.add_parser(commands)
    check.add_parser(commands)
    off.add_parser(commands)
    plan.add_parser(commands)
    study.add_parser(commands)
    analyse.add_parser(commands)
    logbook.add_parser(commands)
    budget.add_parser(commands)
    compare.add_parser(commands)
    report.add_parser(commands)
    instruments.add_parser(commands)
    simulate.add_parser(commands)
    watch.add_parser(commands)
    return parser


def _join_signs(arguments: list[str]) -> list[str]:
    """Turn `--signs -+` into `--signs=-+`, which argparse would take for an option otherwise."""
    joined: list[str] = []
    for argument in arguments:
        if joined and joined[-1] == "--signs":
            joined[-1] = f"--signs={argument}"
        else:
            joined.append(argument)
    return joined


if __name__ == "__main__":
    sys.exit(main())
