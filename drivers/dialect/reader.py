r"""Loads a dialect file and validates it: all faults at once, each with file, key, value and remedy.

id = "my_source"
kind = "source"                      # voltmeter, thermometer, switch; or a list of them
extends = "scpi"                     # optional: start from that one and replace what stands here
[link]                               # all optional
write_termination = "\r\n"
read_termination = "\n"
timeout_s = 2.0
compound = true                      # takes several units in one message
command_gap_s = 0.0                  # pause between messages
max_message_bytes = 0                # 0: no limit
prompt = "> "                        # stands before each answer
echo = false                         # sends back what it gets
[identify]
query = "*IDN?"
reply = "{skip}"                     # refuse an instrument that answers otherwise
[errors]
mode = "queue"                       # queue, register, reply, none
query = ":SYST:ERR?"
[sync]
mode = "query"                       # query, poll, delay, none
query = "*OPC?"
[format]
digits = 8
style = "E"                          # E or F
[sequence]
reset = ["*RST"]                     # best effort
safe = [":OUTP OFF"]                 # tried one by one on every way out
[[cap.compliance]]                   # the first spelling that the instrument knows is used
set = ":SOUR:VOLT:LIM {value}"
get = ":SOUR:VOLT:LIM?"
"""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path
from typing import Any

from drivers.dialect.energising import energising_faults
from drivers.dialect.model import (
    ENCODINGS,
    KINDS,
    REQUIRED,
    ROUNDINGS,
    STATUSES,
    VALUE_KINDS,
    Dialect,
    Errors,
    Format,
    Spelling,
    Sync,
)
from drivers.dialect.pattern import Pattern, PatternError, compile_pattern
from drivers.errors import DialectError
from drivers.plain import plain, shortened
from drivers.toml import TomlError, read_toml

_FOLDER = Path(__file__).parents[1] / "dialects"
_DEEPEST = 8  # overlays upon overlays
_TOP = {"id", "kind", "extends", "also_sources", "link", "identify", "errors", "sync", "format", "sequence", "cap"}
_LINK = {
    "write_termination", "read_termination", "timeout_s", "compound", "command_gap_s", "max_message_bytes", "prompt",
    "echo",
}  # fmt: skip
_LEAST_DIGITS = 6
_NEVER_ROUNDED = ("level", "compliance")
_LARGEST_RTOL = 0.01
_LARGEST_ATOL = 0.1  # in A and V
_UNITS = (1e-3, 1.0, 1e3, 1e6, 1e9)  # kilo, one, milli, micro, nano
_LONGEST_WAIT_S = 600.0  # a voltmeter's longest aperture; whoever waits looks at the orders meanwhile
_LONGEST_GAP_S = 10.0
_MOST_TOLD = 50  # faults of one file
_WORDS = {str: "a text in quotes", float: "a number", int: "a whole number", bool: "true or false"}


def dialect_names(kind: str) -> list[str]:
    """Names of the shipped dialects of a kind."""
    alone = {path.stem.removesuffix(f"_{kind}") for path in _FOLDER.glob(f"*_{kind}.toml")}
    several = {path.stem for path in _FOLDER.glob("*.toml") if kind in _kinds(_parsed(path)) and path.stem not in alone}
    names = alone | {stem for stem in several if not stem.endswith(f"_{kind}")}
    return sorted(names, key=lambda name: (name != "scpi", name))  # the standard first


def _kinds(table: dict[str, Any]) -> list[Any]:
    kinds = table.get("kind")
    return kinds if isinstance(kinds, list) else []


def is_shipped(dialect: Dialect) -> bool:
    """Whether it is one of ours as it stands, not a file of the user's."""
    return Path(dialect.path).parent == _FOLDER


def load_dialect(name: str, kind: str) -> Dialect:
    """A shipped dialect by its name, or a TOML file by its path. Raises DialectError."""
    path = _path(name, kind)
    table = _with_bases(path, _parsed(path), kind, 0)
    reader = _Reader(path)
    dialect = reader.dialect(table, kind)
    reader.raise_faults()
    reader.refuse_energising(dialect)
    return dialect


def _path(name: str, kind: str, beside: Path | None = None) -> Path:
    if name.endswith(".toml"):
        path = Path(name) if beside is None or Path(name).is_absolute() else beside.parent / name
    else:
        path = _FOLDER / f"{name}_{kind}.toml"
        path = path if _is_file(path) else _FOLDER / f"{name}.toml"
    if not _is_file(path):
        known = ", ".join(dialect_names(kind))
        told = shortened(name)
        raise DialectError(f"there is no {kind} dialect {told!r}. Choose one of {known}, or give a .toml file")
    return path


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that no system takes
        return False


def _parsed(path: Path) -> dict[str, Any]:
    try:
        return read_toml(path)
    except TomlError as error:
        raise DialectError(f"{path}: {error}") from error


def _with_bases(path: Path, table: dict[str, Any], kind: str, depth: int) -> dict[str, Any]:
    """The table laid over the one that it extends: sections key by key, capabilities whole."""
    base_name = table.get("extends")
    if base_name is None:
        return table
    if not isinstance(base_name, str) or depth >= _DEEPEST:
        remedy = 'Write the name of another dialect, as in extends = "scpi"'
        raise DialectError(f"{path}: extends: not usable (got {shortened(repr(base_name))}). {remedy}")
    base_path = _path(base_name, kind, beside=path)
    base = _with_bases(base_path, _parsed(base_path), kind, depth + 1)
    merged = dict(base)
    for key, value in table.items():
        inherited = base.get(key)
        merged[key] = {**inherited, **value} if isinstance(inherited, dict) and isinstance(value, dict) else value
    return merged


class _Reader:
    """Reads one file and gathers all of its faults."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._faults: list[str] = []

    def raise_faults(self) -> None:
        if self._faults:
            raise DialectError("\n".join(self._faults))

    def refuse_energising(self, dialect: Dialect) -> None:
        """Raise DialectError where a text of it could set a level or switch an output on by itself."""
        for where, text, remedy in energising_faults(dialect):
            self._fault(where, text, remedy)
        self.raise_faults()

    def dialect(self, table: dict[str, Any], kind: str) -> Dialect:
        self._known("", table, _TOP)
        kinds = table.get("kind")
        if kind not in (kinds if isinstance(kinds, list) else [kinds]):
            self._fault("kind", kinds, f'This file is wanted for a {kind}; write kind = "{kind}"')
            self.raise_faults()
        link = self._table(table, "link", _LINK)
        identify = self._table(table, "identify", {"query", "reply"})
        sequence = self._table(table, "sequence", {"reset", "safe"})
        capabilities = self._capabilities(table.get("cap", {}), kind, kinds if isinstance(kinds, list) else [])
        if kind == "source" and not sequence.get("safe"):
            self._fault("sequence.safe", None, 'Write what switches the output off, as in safe = [":OUTP OFF"]')
        max_bytes = self._get(link, "link", "max_message_bytes", 0)
        if max_bytes < 0:
            self._fault("link.max_message_bytes", max_bytes, "Write a number of bytes, or 0 for no limit")
        return Dialect(
            id=self._typed("id", table.get("id", self._path.stem), str, ""),
            kind=kind,
            write_termination=self._get(link, "link", "write_termination", "\n"),
            read_termination=self._get(link, "link", "read_termination", "\n"),
            timeout_s=self._seconds(link, "link", "timeout_s", 2.0, at_least=0.01),
            compound=self._get(link, "link", "compound", default=True),
            reset=self._messages("sequence.reset", sequence.get("reset", [])),
            safe=self._messages("sequence.safe", sequence.get("safe", [])),
            capabilities=capabilities,
            identify=self._get(identify, "identify", "query", "*IDN?"),
            identity=self._pattern("identify.reply", identify.get("reply")),
            command_gap_s=self._seconds(link, "link", "command_gap_s", 0.0, longest=_LONGEST_GAP_S),
            max_message_bytes=max_bytes,
            prompt=self._get(link, "link", "prompt", ""),
            echo=self._get(link, "link", "echo", default=False),
            also_sources=self._typed("also_sources", table.get("also_sources", isinstance(kinds, list)), bool, False),
            errors=self._errors(table),
            sync=self._sync(table),
            format=self._format(table),
            path=str(self._path),
        )

    def _errors(self, table: dict[str, Any]) -> Errors:
        section = self._table(table, "errors", {f.name for f in fields(Errors)})
        default = Errors()
        query = self._get(section, "errors", "query", default.query)
        # An empty query is the short way to say that there is no queue.
        mode = self._word(
            section, "errors", "mode", "queue" if query else "none", ("queue", "register", "reply", "none")
        )
        pattern = self._pattern("errors.reply", section.get("reply"))
        if mode == "reply" and pattern is None:
            self._fault("errors.reply", None, 'Write how an error answer looks, as in reply = "ERR {value}"')
        if mode == "register" and "query" not in section:
            self._fault("errors.query", None, 'Write what asks the register, as in query = "*ESR?"')
        bits = self._get(section, "errors", "bits", default.bits)
        drain_max = self._get(section, "errors", "drain_max", default.drain_max)
        if not 1 <= drain_max <= 1000:
            self._fault("errors.drain_max", drain_max, "Write a whole number from 1 to 1000")
        acknowledges = self._get(section, "errors", "acknowledges", default=False)
        return Errors(mode, query, bits, pattern, drain_max, acknowledges)

    def _sync(self, table: dict[str, Any]) -> Sync:
        section = self._table(table, "sync", {f.name for f in fields(Sync)})
        default = Sync()
        query = self._get(section, "sync", "query", default.query)
        mode = self._word(section, "sync", "mode", "query" if query else "none", ("query", "poll", "delay", "none"))
        delay_s = self._seconds(section, "sync", "delay_s", 0.0)
        interval_s = self._seconds(
            section, "sync", "interval_s", default.interval_s, at_least=0.0005, longest=_LONGEST_GAP_S
        )
        if mode == "delay" and not delay_s > 0:
            self._fault("sync.delay_s", delay_s, "Write how long the slowest command takes, in seconds")
        return Sync(mode, query, self._get(section, "sync", "done", default.done), interval_s, delay_s)

    def _format(self, table: dict[str, Any]) -> Format:
        section = self._table(table, "format", {f.name for f in fields(Format)})
        digits = self._get(section, "format", "digits", 8)
        style = self._word(section, "format", "style", "E", ("E", "F"))
        if not (_LEAST_DIGITS if style == "E" else 0) <= digits <= 17:
            self._fault("format.digits", digits, f"Write {_LEAST_DIGITS} to 17: fewer lose what the recipe says")
        lists = (self._messages(f"format.{name}", section.get(name, [])) for name in ("true", "false", "overload"))
        return Format(digits, style, *lists)

    def _capabilities(self, caps: object, kind: str, kinds: list[str]) -> dict[str, tuple[Spelling, ...]]:
        if not isinstance(caps, dict):
            self._fault("cap", caps, "Write tables [cap.NAME]")
            return {}
        others = frozenset().union(*(KINDS[other] for other in kinds if other in KINDS))
        self._known("cap", caps, KINDS[kind], also=others)
        for name in REQUIRED[kind]:
            if name not in caps:
                self._fault(f"cap.{name}", None, f"A {kind} needs it; write [cap.{name}]")
        found = {name: self._spellings(f"cap.{name}", value) for name, value in caps.items() if name in KINDS[kind]}
        for name in _NEVER_ROUNDED:
            for spelling in found.get(name, ()):
                self._check_exact(f"cap.{name}", spelling)
        return found

    def _check_exact(self, where: str, s: Spelling) -> None:
        """A current or a compliance that is another one than asked would pass the house limits unseen."""
        if s.kind != "number":
            self._fault(f"{where}.kind", s.kind, 'Write kind = "number"')
        if s.rounds != "exact":
            self._fault(f"{where}.rounds", s.rounds, "Leave it out: this must read back as it was set")
        if s.rtol > _LARGEST_RTOL:
            self._fault(f"{where}.rtol", s.rtol, f"Write {_LARGEST_RTOL:g} at most")
        if s.atol > _LARGEST_ATOL:
            self._fault(f"{where}.atol", s.atol, f"Write {_LARGEST_ATOL:g} at most: the last digit of the instrument")
        if s.scale not in _UNITS:
            names = "0.001 for kilo, 1, 1000 for milli, 1e6 for micro, 1e9 for nano"
            self._fault(f"{where}.scale", s.scale, f"Write the unit that the instrument counts in: {names}")

    def _spellings(self, where: str, value: object) -> tuple[Spelling, ...]:
        entries = value if isinstance(value, list) else [value]
        found = []
        for index, entry in enumerate(entries):
            place = f"{where}[{index}]" if len(entries) > 1 else where
            if isinstance(entry, dict):
                found.append(self._spelling(place, entry))
            else:
                self._fault(place, entry, "Write a table with set and get")
        return tuple(found)

    def _spelling(self, where: str, entry: dict[str, Any]) -> Spelling:
        defaults = Spelling()
        names = {field.name for field in fields(Spelling)}
        self._known(where, entry, names | {"rounds_up"})
        values: dict[str, Any] = {}
        for name in names - {"reply", "before", "table", "rounds"}:
            default = getattr(defaults, name)
            values[name] = self._typed(f"{where}.{name}", entry.get(name, default), type(default), default)
        values["reply"] = self._pattern(f"{where}.reply", entry.get("reply"))
        before = entry.get("before", [])
        values["before"] = self._messages(f"{where}.before", [before] if isinstance(before, str) else before)
        values["table"] = self._numbers(f"{where}.table", entry.get("table", []))
        up = self._typed(f"{where}.rounds_up", entry.get("rounds_up", False), bool, False)
        values["rounds"] = self._word(entry, where, "rounds", "up" if up else "exact", ROUNDINGS)
        spelling = Spelling(**values)
        self._check(where, spelling)
        return spelling

    def _check(self, where: str, s: Spelling) -> None:
        for name, word, words in (("kind", s.kind, VALUE_KINDS), ("status", s.status, STATUSES)):
            if word not in words:
                self._fault(f"{where}.{name}", word, f"Write one of {', '.join(w for w in words if w)}")
        if s.encoding not in ENCODINGS:
            self._fault(f"{where}.encoding", s.encoding, f"Write one of {', '.join(ENCODINGS)}")
        if s.limits not in ("clamp", "trip", "unknown"):
            self._fault(f"{where}.limits", s.limits, "Write clamp, trip or unknown")
        if not s.settable and not s.get:
            self._fault(where, None, "Write set, get or both")
        if bool(s.on_set) != bool(s.off_set):
            self._fault(f"{where}.on_set", s.on_set or s.off_set, "Write on_set and off_set together")
        if s.set.replace("{value}", "").count("{"):
            self._fault(f"{where}.set", s.set, "The only placeholder is {value}")
        if s.set and s.kind in ("number", "bool", "index", "channel", "list") and "{value}" not in s.set:
            self._fault(f"{where}.set", s.set, "Write {value} where the value goes")
        elif s.set.partition("{value}")[2].strip(" )"):
            # "CURR {value}E3" would carry a current past the house limits.
            self._fault(f"{where}.set", s.set, "Let {value} stand last, and write scale for another unit")
        if not (s.scale > 0 and math.isfinite(s.scale)):
            self._fault(f"{where}.scale", s.scale, "Write a number above 0")
        if s.kind == "index" and not s.table:
            self._fault(f"{where}.table", None, "Write the values in order, as in table = [0.001, 0.01, 0.1]")
        if s.low > s.high:
            self._fault(f"{where}.low", s.low, "Write a value below high")
        for name, value in (("rtol", s.rtol), ("atol", s.atol)):
            if not 0 <= value < math.inf:
                self._fault(f"{where}.{name}", value, "Write a number, 0 or more")
        for name, value in (("settle_s", s.settle_s), ("timeout_s", s.timeout_s)):
            if not 0 <= value <= _LONGEST_WAIT_S:
                self._fault(f"{where}.{name}", value, f"Write seconds from 0 to {_LONGEST_WAIT_S:g}")

    def _pattern(self, where: str, source: object) -> Pattern | None:
        if source is None:
            return None
        if not isinstance(source, str):
            self._fault(where, source, "Write a text in quotes")
            return None
        try:
            return compile_pattern(source)
        except PatternError as error:
            self._fault(where, source, str(error))
            return None

    def _numbers(self, where: str, value: object) -> tuple[float, ...]:
        if isinstance(value, list) and all(isinstance(x, int | float) and not isinstance(x, bool) for x in value):
            return tuple(map(_float, value))
        self._fault(where, value, "Write a list of numbers")
        return ()

    def _messages(self, where: str, value: object) -> tuple[str, ...]:
        if isinstance(value, list) and all(isinstance(text, str) for text in value):
            return tuple(value)
        self._fault(where, value, "Write a list of texts")
        return ()

    def _table(self, table: dict[str, Any], name: str, keys: set[str]) -> dict[str, Any]:
        value = table.get(name, {})
        if not isinstance(value, dict):
            self._fault(name, value, f"Write a table [{name}]")
            return {}
        self._known(name, value, keys)
        return value

    def _get(self, section: dict[str, Any], where: str, key: str, default: Any) -> Any:
        return self._typed(f"{where}.{key}", section.get(key, default), type(default), default)

    def _seconds(
        self,
        section: dict[str, Any],
        where: str,
        key: str,
        default: float,
        *,
        at_least: float = 0.0,
        longest: float = _LONGEST_WAIT_S,
    ) -> float:
        value = float(self._get(section, where, key, default))
        if not at_least <= value <= longest:
            self._fault(f"{where}.{key}", value, f"Write seconds from {at_least:g} to {longest:g}")
        return value

    def _word(self, section: dict[str, Any], where: str, key: str, default: str, words: tuple[str, ...]) -> str:
        word = section.get(key, default)
        if word in words:
            return str(word)
        self._fault(f"{where}.{key}", word, f"Write one of {', '.join(words)}")
        return default

    def _typed(self, where: str, value: object, type_: type[Any], default: Any) -> Any:
        if type_ is float and isinstance(value, int) and not isinstance(value, bool):
            return _float(value)
        if isinstance(value, type_) and (type_ is bool or not isinstance(value, bool)):
            return value
        self._fault(where, value, f"Write {_WORDS[type_]}")
        return default

    def _known(
        self,
        where: str,
        table: dict[str, Any],
        keys: set[str] | frozenset[str],
        also: frozenset[str] = frozenset(),
    ) -> None:
        """`also` are keys that may stand here for another role of the same instrument."""
        for key in table:
            if key not in keys and key not in also:
                self._fault(f"{where}.{key}".strip("."), None, f"Unknown; known are {', '.join(sorted(keys))}")

    def _fault(self, where: str, value: object, remedy: str) -> None:
        got = "" if value is None else f" (got {shortened(repr(value))})"
        told = f"{shortened(where)}: not usable{got}. {shortened(remedy, 1000)}"
        if len(self._faults) < _MOST_TOLD:
            self._faults.append(plain(f"{self._path}: {told}"))


def _float(value: float) -> float:
    """A number of a file; infinite where it is larger than any."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf
