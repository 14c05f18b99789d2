"""`benchapp off`: the source's output off, whoever switched it on, and what it reads then."""

from __future__ import annotations

import argparse
import sys

from benchapp.bench.armed import Armed, left_behind, noted
from benchapp.bench.off import read_output, switch_off
from benchapp.errors import Fault, InputError
from drivers.dialect import Dialect, load_dialect
from drivers.errors import AddressError, DialectError
from drivers.wires import check_address


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "off",
        help="switch a source's output off and say what it reads",
        description="Sends what switches the output off, on a connection of its own, and reads back. It acts in a run"
        " and outside one, also on a source that no run has opened. Without --source: every source that a run has"
        " switched on and not yet proved off. Exit: 0 where all read off, 3 where one does not, 2 where none is named.",
    )
    parser.add_argument("--source", metavar="ADDR", help="its address; without it, all that are noted as switched on")
    parser.add_argument("--source-dialect", metavar="NAME_OR_FILE", help="how it spells its commands (scpi)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Switch off, and tell each one."""
    if arguments.source is not None:
        try:
            check_address(arguments.source)
        except AddressError as error:
            problem, _, remedy = str(error).partition(". ")
            raise InputError(Fault(problem, "", remedy, field="--source")) from error
        known = next((armed for armed in noted() if armed.is_at(arguments.source)), None)
        name = arguments.source_dialect or (known.dialect if known is not None else "scpi")
        wanted = [(arguments.source, _dialect(name))]
    else:
        wanted = [(armed.address, _dialect(arguments.source_dialect or armed.dialect)) for armed in noted()]
    if not wanted:
        remedy = "Name it, as in --source TCPIP::192.168.0.5::5025::SOCKET"
        raise InputError(Fault("no source is noted as switched on", "", remedy, field="--source"))
    results = [switch_off(address, dialect) for address, dialect in wanted]
    for result in results:
        print(result.in_words, file=sys.stdout if result.on is False else sys.stderr)
    return 0 if all(result.on is False for result in results) else 3


def tell_of_left_behind(about_to_use: str = "") -> None:
    """On standard error: sources that a program switched on which is dead, as they read now, and how to switch off.

    `about_to_use` is left out: whoever opens it switches it off first.
    """
    for armed in left_behind():
        if about_to_use and armed.is_at(about_to_use):
            continue
        print(f"benchapp: {in_words(armed)}", file=sys.stderr)


def in_words(armed: Armed) -> str:
    """What was left behind, and how its output reads now."""
    state = read_output(armed.address, _lenient(armed.dialect)).state
    return (
        f"{armed.address} was switched on by {armed.holder or 'a program'} at {armed.when}, which ended without proving"
        f" it off. Its output reads: {state}. Switch it off: benchapp off --source {armed.address}"
    )


def _dialect(name: str) -> Dialect:
    try:
        return load_dialect(name, "source")
    except DialectError as error:
        problem, _, remedy = str(error).rpartition(". ")
        raise InputError(Fault(problem, "", remedy, field="--source-dialect")) from error


def _lenient(name: str) -> Dialect:
    try:
        return load_dialect(name, "source")
    except DialectError:
        return load_dialect("scpi", "source")
