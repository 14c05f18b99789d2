"""What no dialect may say: a dialect names settings, and only the driver sets a level or switches an output on.

Dialect files come from strangers. A level or an output word hidden in a reset, a query or another setting would reach
the source past the house limits, before the guardian is armed. So every fixed text is taken apart into its units
(IEEE 488.2, 7.3) and refused where a unit could energise. A setting of our own invention whose words nobody can know is
met by the driver: after the set-up the level must read back as 0 and the output as off.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from drivers.dialect.model import Dialect, Spelling

_NUMBER = re.compile(r"(?<![\w@.(])(?:[+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?|#[HQB]\w+)", re.IGNORECASE)
_LIMIT_WORD = re.compile(r"\b(MAX|MAXIMUM|DEF|DEFAULT|UP|INF|INFINITY)\b", re.IGNORECASE)
_ON = re.compile(r"^(ON|TRUE|[+-]?0*\.?0*[1-9].*)", re.IGNORECASE)
_DRIVES = ("OUTP", "CURR")  # mnemonics of a source's own subsystems
_RECALLS = ("*RCL", "*DDT", "*PMC", "*DMC", "*GMC")  # what was stored before may energise
_NAMELESS_NODES = ("SOUR", "LEV", "IMM", "AMPL", "STAT")  # SCPI-99 volume 2 lets them be left out
_LONGEST_SUFFIX = 2
_WORD = re.compile(r"[+-]?\w+")

Fault = tuple[str, str, str]  # place, text, remedy


def energising_faults(dialect: Dialect) -> Iterator[Fault]:
    """Every text of the dialect that could set a level or switch an output on, with its place and what to do."""
    level = _headers(dialect, "level", "list")
    sources = dialect.kind == "source" or dialect.also_sources
    for where, text in _texts(dialect):
        if not text.isprintable() or not text.isascii():
            yield where, text, "Write printable ASCII only: one message, without line ends"
        elif why := _why_refused(text, dialect, level, any_number=sources):
            yield where, text, f"{why}. Leave it out; the program sets level and output itself"
    for name, spellings in dialect.capabilities.items():
        for spelling in spellings:
            if name not in ("level", "list") and spelling.set and _canonical(_header(spelling.set)) in level:
                yield f"cap.{name}.set", spelling.set, "This is the spelling of the level"
            if spelling.kind == "bool":
                for key, word in (("on", spelling.on), ("off", spelling.off)):
                    if not _WORD.fullmatch(word) or (_is_number(word) and float(word) not in (0.0, 1.0)):
                        yield f"cap.{name}.{key}", word, "Write one word, or 0 or 1"


def faults_together(source: Dialect, voltmeter: Dialect) -> Iterator[Fault]:
    """For one instrument with both roles: what of the voltmeter's texts would drive the source."""
    level = _headers(source, "level", "list")
    for where, text in _texts(voltmeter):
        if why := _why_refused(text, source, level, any_number=False):
            yield where, text, f"{why}. Leave it out; the program sets level and output itself"
    for name, spellings in voltmeter.capabilities.items():
        for spelling in spellings:
            if spelling.set and _canonical(_header(spelling.set)) in level:
                yield f"cap.{name}.set", spelling.set, "This is the spelling of the source's level"


def why_it_energises(message: str, dialect: Dialect) -> str:
    """Why a message might switch an output on; empty where nothing in it says so."""
    output = dialect.capabilities.get("output", ())
    own = {_flat(text) for spelling in output for text in _on_messages(spelling)}
    for unit in message.split(";"):
        header, arguments = _parted(unit)
        if not header.endswith("?") and (_flat(unit) in own or ("OUTP" in _canonical(header) and _ON.match(arguments))):
            return "it switches an output on"
        if header.upper() in _RECALLS:
            return "it recalls what was stored, which may be an output that is on"
    return ""


def numbers_of(message: str, dialect: Dialect) -> Iterator[tuple[str, float]]:
    """The levels and compliances that a message would set: "level" or "compliance" with the number as it stands."""
    by_role = {"level": _headers(dialect, "level", "list") | {"CURR"}, "compliance": _headers(dialect, "compliance")}
    for unit in message.split(";"):
        header, arguments = _parted(unit)
        canonical = _canonical(header)
        if header.endswith("?"):
            continue
        for name, headers in by_role.items():
            if canonical in headers:
                numbers = _NUMBER.findall(arguments)
                yield from ((name, float(found) if _is_number(found) else math.inf) for found in numbers)
                if _LIMIT_WORD.search(arguments):
                    yield name, math.inf


def _texts(dialect: Dialect) -> Iterator[tuple[str, str]]:
    """Every fixed text that is sent, with its place; of the output's own, all but what switches it."""
    yield from (("sequence.reset", text) for text in dialect.reset)
    yield from (("sequence.safe", text) for text in dialect.safe)
    yield "identify.query", dialect.identify
    yield "errors.query", dialect.errors.query
    yield "sync.query", dialect.sync.query
    for name, spellings in dialect.capabilities.items():
        for spelling in spellings:
            yield from ((f"cap.{name}.before", text) for text in spelling.before)
            yield f"cap.{name}.get", spelling.get
            yield f"cap.{name}.off_set", spelling.off_set
            if name != "output":
                yield f"cap.{name}.on_set", spelling.on_set
            text = spelling.value if spelling.kind == "text" else ""
            yield f"cap.{name}.set", spelling.set.partition("{value}")[0] + text


def _why_refused(text: str, dialect: Dialect, level: set[str], *, any_number: bool) -> str:
    """Why a fixed text cannot be used. `any_number`: no number but 0 may stand in an order of a source."""
    if why := why_it_energises(text, dialect):
        return why[0].upper() + why[1:]
    for unit in text.split(";"):
        header, arguments = _parted(unit)
        name = header.rstrip("?").upper()
        if header.endswith("?") or (name.startswith("*") and name not in _RECALLS):
            continue
        trailing = re.search(r"\d*$", name)
        assert trailing is not None
        drives = any(word in _canonical(name).split(":") for word in _DRIVES) or _canonical(name) in level
        glued = len(trailing[0]) > _LONGEST_SUFFIX or (bool(trailing[0]) and _glued(name) in level)
        numbers = [found for found in _NUMBER.findall(arguments) if not _is_number(found) or float(found) != 0.0]
        if (any_number or drives) and (numbers or glued or _LIMIT_WORD.search(arguments)):
            return "A number stands in it, which may be a level"
    return ""


def _on_messages(spelling: Spelling) -> list[str]:
    found = [spelling.on_set] if spelling.on_set else []
    return [*found, spelling.set.replace("{value}", spelling.on)] if spelling.set else found


def _headers(dialect: Dialect, *names: str) -> set[str]:
    """The headers that set these capabilities, in their shortest form."""
    return {_canonical(_header(s.set)) for name in names for s in dialect.capabilities.get(name, ()) if s.set}


def _header(template: str) -> str:
    """What stands before the value, in the last unit of a template."""
    return _parted(template.partition("{value}")[0].rpartition(";")[2] or template)[0]


def _parted(unit: str) -> tuple[str, str]:
    """A unit's header and its arguments."""
    found = re.match(r"\s*([^\s=,]*)[\s=,]*(.*)", unit, re.DOTALL)
    assert found is not None
    return found[1], found[2]


def _canonical(header: str) -> str:
    """A header in the short form of its mnemonics (SCPI-99, 6.2.1), without nodes that may be left out."""
    nodes = [_short(re.sub(r"\d+$", "", node)) for node in header.upper().strip(":?").split(":")]
    return ":".join(node for node in nodes if node not in _NAMELESS_NODES) or header.upper()


def _short(mnemonic: str) -> str:
    if len(mnemonic) <= 4:
        return mnemonic
    return mnemonic[:3] if mnemonic[3] in "AEIOU" else mnemonic[:4]


def _glued(name: str) -> str:
    return _canonical(re.sub(r"[\d.+-]+$", "", name))


def _flat(unit: str) -> str:
    return " ".join(unit.upper().strip(" :").split())


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
