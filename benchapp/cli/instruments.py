"""`benchapp instruments`: what is there, who it is, how it speaks, whether a dialect holds, and a word with it."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, replace
from pathlib import Path

from benchapp.bench.check import check_instrument, check_with_output_on, probe_instrument
from benchapp.bench.identify import identify
from benchapp.bench.limits import LimitExceeded, load_limits
from benchapp.bench.protocol import protocol_text
from benchapp.bench.talk import Conversation
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError
from benchapp.recipe import build_recipe
from benchapp.recipe_values import Entry
from drivers.check import Checked
from drivers.dialect import Dialect, dialect_names, load_dialect
from drivers.errors import AddressError, DialectError, LinkTimeout
from drivers.plugins import plugin_names
from drivers.probe import Report, dialect_text
from drivers.wires import check_address, list_addresses

_ROLES = ("source", "voltmeter")
_LINE_ENDS = {"lf": "\n", "crlf": "\r\n", "cr": "\r"}


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "instruments",
        help="find, identify, probe and check instruments",
        description="Nothing here switches an output on. A probe writes a dialect file for an unknown instrument; a"
        " check tries each capability of a dialect and says what works.",
    )
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", required=True)
    listing = verbs.add_parser("list", help="addresses that the VISA library finds, and the shipped dialects")
    listing.set_defaults(run=_list)
    who = verbs.add_parser("identify", help="ask an instrument who it is")
    _add_address(who)
    who.add_argument("--dialect", default="scpi", metavar="NAME_OR_FILE")
    who.add_argument("--role", choices=_ROLES, default="source")
    who.set_defaults(run=_identify)
    probing = verbs.add_parser("probe", help="find out how an instrument spells things, output off")
    _add_address(probing)
    probing.add_argument("--role", choices=_ROLES, required=True)
    probing.add_argument("--out", metavar="FILE.toml", help='the dialect file to write, "-" for standard output')
    probing.add_argument(
        "--allow-reading", action="store_true", help="try READ? even where the instrument also sources"
    )
    probing.set_defaults(run=_probe)
    checking = verbs.add_parser("check", help="does a dialect hold for this instrument?")
    _add_address(checking)
    checking.add_argument("--dialect", default="scpi", metavar="NAME_OR_FILE")
    checking.add_argument("--role", choices=_ROLES, help="where the dialect is for both")
    checking.add_argument("--json", metavar="FILE", help='as JSON, "-" for standard output')
    checking.add_argument(
        "--protocol", action="store_true", help="print what only the real instrument can show, to be done once by hand"
    )
    energised = checking.add_argument_group(
        "with the output on",
        "A source on a resistor of known value, with a voltmeter beside it: proves that ON switches on, the unit of the"
        " level, and whether the compliance clamps or trips. The resistor must stand the current.",
    )
    energised.add_argument("--energise", metavar='"10 mA"', help="switch on, with this current")
    energised.add_argument("--resistance", metavar='"1 ohm"', help="of the resistor")
    energised.add_argument("--compliance", metavar='"1 V"', default="1 V")
    energised.add_argument("--voltmeter", metavar="ADDR")
    energised.add_argument("--voltmeter-dialect", metavar="NAME_OR_FILE", default="scpi")
    checking.set_defaults(run=_check)
    talk = verbs.add_parser(
        "talk",
        help="lines from standard input to the instrument, its answers back",
        description="What would switch an output on, or set a level or a compliance beyond the house limits, is not"
        " sent. An output that went on all the same is switched off; then the exit is 3. Every line that comes back is"
        " shown, asked for or not.",
    )
    _add_address(talk)
    talk.add_argument("--dialect", default="scpi", metavar="NAME_OR_FILE", help="line ends and words (scpi)")
    talk.add_argument("--role", choices=_ROLES, help="where the dialect is for both")
    talk.add_argument(
        "--plain", action="store_true", help="send only what is typed, for an instrument that speaks no SCPI"
    )
    talk.add_argument("--line-end", choices=_LINE_ENDS, help="of what is sent (the dialect's)")
    talk.add_argument("--answer-end", choices=_LINE_ENDS, help="of what it answers (the dialect's)")
    talk.add_argument("--timeout", type=float, default=2.0, help="seconds to wait for an answer (2)")
    talk.set_defaults(run=_talk)


def _add_address(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("address", metavar="ADDR", type=_address, help='such as "TCPIP::192.168.0.5::5025::SOCKET"')


def _address(text: str) -> str:
    try:
        check_address(text)
    except AddressError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    return text


def _list(_: argparse.Namespace) -> int:
    found, notes = list_addresses()
    for address in found:
        print(address)
    if not found:
        print("The VISA library finds no instrument. One on the LAN by a raw socket is never found: name its address.")
    for note in notes:
        print(note, file=sys.stderr)
    for role in (*_ROLES, "thermometer", "switch"):
        print(f"dialects of a {role}: {', '.join([*dialect_names(role), *plugin_names(role)])}")
    return 0


def _identify(arguments: argparse.Namespace) -> int:
    found = identify(arguments.role, arguments.address, arguments.dialect)
    if found.fault:
        print(f"benchapp: {found.fault}", file=sys.stderr)
        return 3
    print(f"{found.identity}  ({1000 * found.seconds:.1f} ms)")
    return 0


def _probe(arguments: argparse.Namespace) -> int:
    report = probe_instrument(
        arguments.role, arguments.address, may_read=arguments.allow_reading, progress=_told_on_standard_error
    )
    stream = sys.stderr if arguments.out == "-" else sys.stdout
    print(_in_words(report), file=stream)
    if arguments.out is not None:
        name = "probed" if arguments.out == "-" else Path(arguments.out).stem
        with opened(arguments.out, "--out") as target:
            target.write(dialect_text(report, name))
        if arguments.out != "-":
            print(f"written to {arguments.out}; try it with: benchapp instruments check {arguments.address}"
                  f" --dialect {arguments.out} --role {arguments.role}")  # fmt: skip
    return 0


def _told_on_standard_error(doing: str, done: int, of: int) -> None:
    print(f"probing: {doing} ({done + 1} of {of})", file=sys.stderr, flush=True)


def _in_words(report: Report) -> str:
    lines = [f"{report.identity}: {report.messages} messages in {report.seconds:.1f} s"]
    lines.append(f"errors by {report.error_mode}; {'several units' if report.compound else 'one unit'} a message")
    lines += [f"{finding.name:<16}{finding.status:<12}{finding.evidence}" for finding in report.findings]
    lines += [f"{name:<16}missing" for name in report.missing]
    return "\n".join([*lines, *(f"note: {note}" for note in report.notes)])


def _check(arguments: argparse.Namespace) -> int:
    role, dialect = _role_and_dialect(arguments)
    if arguments.protocol:
        found = identify(role, arguments.address, arguments.dialect)
        print(protocol_text(arguments.address, role, arguments.dialect, found.identity or "an instrument not reached"))
        return 3 if found.fault else 0
    identity, rows, notices = check_instrument(role, arguments.address, dialect)
    if arguments.energise is not None:
        on = _check_energised(arguments, dialect)
        rows = [next((o for o in on if o.name == row.name), row) for row in rows]
    if arguments.json is not None:
        with opened(arguments.json, "--json") as stream:
            told = {"identity": identity, "dialect": dialect.id, "capabilities": [asdict(r) for r in rows]}
            stream.write(json.dumps(told) + "\n")
    else:
        print(f"{identity} as {role} by the dialect {dialect.id}")
        for row in rows:
            print(f"{row.name:<16}{row.state:<12}{row.seen}")
        for notice in notices:
            print(f"note: {notice}")
    return 3 if any(row.state == "fails" for row in rows) else 0


def _check_energised(arguments: argparse.Namespace, dialect: Dialect) -> list[Checked]:
    keys = {"current": arguments.energise, "compliance": arguments.compliance, "nominal": arguments.resistance}
    options = {"current": "--energise", "compliance": "--compliance", "nominal": "--resistance"}
    missing = [
        Fault("missing", "", "It is needed to switch on", field=option)
        for option, value in (("--resistance", arguments.resistance), ("--voltmeter", arguments.voltmeter))
        if value is None
    ]
    if missing or dialect.kind != "source":
        raise InputError(*(missing or [Fault("for a source only", dialect.kind, "Leave it out", field="--energise")]))
    recipe = build_recipe({key: Entry(value, options[key]) for key, value in keys.items()})
    voltmeter_dialect = load_dialect(arguments.voltmeter_dialect, "voltmeter")
    assert recipe.nominal_ohm is not None
    return check_with_output_on(
        arguments.address, dialect, arguments.voltmeter, voltmeter_dialect, recipe, load_limits()
    )


def _role_and_dialect(arguments: argparse.Namespace) -> tuple[str, Dialect]:
    roles = [arguments.role] if arguments.role else list(_ROLES)
    faults = []
    for role in roles:
        try:
            return role, load_dialect(arguments.dialect, role)
        except DialectError as error:
            faults.append(str(error))
    problem, _, remedy = faults[0].rpartition(". ")
    raise InputError(Fault(problem, "", remedy, field="--dialect"))


def _talk(arguments: argparse.Namespace) -> int:
    _, dialect = _role_and_dialect(arguments)
    dialect = replace(
        dialect,
        write_termination=_LINE_ENDS.get(arguments.line_end, dialect.write_termination),
        read_termination=_LINE_ENDS.get(arguments.answer_end, dialect.read_termination),
    )
    with Conversation(
        arguments.address, dialect, load_limits(), arguments.timeout, plain=arguments.plain
    ) as conversation:
        for line in conversation.heard():
            print(line, flush=True)
        for line in sys.stdin:
            message = line.strip()
            try:
                for answer in conversation.say(message) if message else ():
                    print(answer, flush=True)
            except (InputError, LimitExceeded, LinkTimeout) as error:
                print(f"benchapp: {error}", file=sys.stderr)
        if note := conversation.leave():
            print(f"benchapp: {note}", file=sys.stderr)
    return 3 if conversation.energised else 0
