r"""A dialect: how one family of instruments spells what a bench needs, as a TOML file. It is data, never code.

id = "my_source"
kind = "source"                      # or "voltmeter"
[link]                               # all optional
write_termination = "\r\n"
read_termination = "\n"
timeout_s = 2.0
compound = true                      # takes several units in one message
[errors]
query = ":SYST:ERR?"                 # "" where there is no error queue
[sync]
query = "*OPC?"                      # answers when everything before it is done
[sequence]
reset = ["*RST"]                     # best effort
safe = [":OUTP OFF"]                 # tried one by one on every way out
[[cap.compliance]]                   # the first spelling that the instrument knows is used
set = ":SOUR:VOLT:LIM {value}"
get = ":SOUR:VOLT:LIM?"
kind = "number"                      # number, bool, text, bit
scale = 1.0                          # instrument units per SI unit
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from drivers.errors import DialectError

_FOLDER = Path(__file__).with_name("dialects")
KINDS = {
    "source": frozenset({"level", "output", "compliance", "range", "autorange", "limiting"}),
    "voltmeter": frozenset(
        {"read", "nplc", "aperture", "range", "autorange", "autozero", "function", "trigger_source", "format"}
    ),
}
REQUIRED = {"source": ("level", "output", "compliance"), "voltmeter": ("read",)}
_VALUE_KINDS = ("number", "bool", "text", "bit")


@dataclass(frozen=True, slots=True)
class Spelling:
    """One way to say one thing. Empty `set` or `get`: it cannot be set or asked."""

    set: str = ""
    get: str = ""
    kind: str = "number"
    scale: float = 1.0
    on: str = "ON"
    off: str = "OFF"
    value: str = ""
    bit: int = 0
    rounds_up: bool = False


@dataclass(frozen=True, slots=True)
class Dialect:
    """All that a driver needs to know of an instrument family."""

    id: str
    kind: str
    write_termination: str
    read_termination: str
    timeout_s: float
    compound: bool
    error_query: str
    sync_query: str
    reset: tuple[str, ...]
    safe: tuple[str, ...]
    capabilities: dict[str, tuple[Spelling, ...]]


def dialect_names(kind: str) -> list[str]:
    """Names of the shipped dialects for "source" or "voltmeter"."""
    return sorted(path.stem.removesuffix(f"_{kind}") for path in _FOLDER.glob(f"*_{kind}.toml"))


def load_dialect(name: str, kind: str) -> Dialect:
    """A shipped dialect by its name, or a TOML file by its path. Raises DialectError."""
    path = Path(name) if name.endswith(".toml") else _FOLDER / f"{name}_{kind}.toml"
    if not path.is_file():
        known = ", ".join(dialect_names(kind))
        raise DialectError(f"there is no {kind} dialect {name!r}. Choose one of {known}, or give a .toml file")
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DialectError(f"{path}: this is no TOML: {error}. Correct the line that is named") from error
    reader = _Reader(path)
    dialect = reader.dialect(table, kind)
    reader.raise_faults()
    return dialect


class _Reader:
    """Reads one file and gathers all of its faults."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._faults: list[str] = []

    def raise_faults(self) -> None:
        if self._faults:
            raise DialectError("\n".join(self._faults))

    def dialect(self, table: dict[str, Any], kind: str) -> Dialect:
        self._known("", table, {"id", "kind", "link", "errors", "sync", "sequence", "cap"})
        if table.get("kind") != kind:
            self._fault("kind", table.get("kind"), f'This file is wanted for a {kind}; write kind = "{kind}"')
            self.raise_faults()
        link = self._table(table, "link", {"write_termination", "read_termination", "timeout_s", "compound"})
        errors = self._table(table, "errors", {"query"})
        sync = self._table(table, "sync", {"query"})
        sequence = self._table(table, "sequence", {"reset", "safe"})
        capabilities = self._capabilities(table.get("cap", {}), kind)
        if kind == "source" and not sequence.get("safe"):
            self._fault("sequence.safe", None, 'Write what switches the output off, as in safe = [":OUTP OFF"]')
        return Dialect(
            id=self._typed("id", table.get("id", self._path.stem), str, ""),
            kind=kind,
            write_termination=self._typed("link.write_termination", link.get("write_termination", "\n"), str, "\n"),
            read_termination=self._typed("link.read_termination", link.get("read_termination", "\n"), str, "\n"),
            timeout_s=self._typed("link.timeout_s", link.get("timeout_s", 2.0), float, 2.0),
            compound=self._typed("link.compound", link.get("compound", True), bool, True),
            error_query=self._typed("errors.query", errors.get("query", ":SYST:ERR?"), str, ""),
            sync_query=self._typed("sync.query", sync.get("query", "*OPC?"), str, ""),
            reset=self._messages("sequence.reset", sequence.get("reset", [])),
            safe=self._messages("sequence.safe", sequence.get("safe", [])),
            capabilities=capabilities,
        )

    def _capabilities(self, caps: object, kind: str) -> dict[str, tuple[Spelling, ...]]:
        if not isinstance(caps, dict):
            self._fault("cap", caps, "Write tables [cap.NAME]")
            return {}
        self._known("cap", caps, KINDS[kind])
        for name in REQUIRED[kind]:
            if name not in caps:
                self._fault(f"cap.{name}", None, f"A {kind} needs it; write [cap.{name}]")
        return {name: self._spellings(f"cap.{name}", value) for name, value in caps.items() if name in KINDS[kind]}

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
        self._known(where, entry, {field.name for field in fields(Spelling)})
        values = {}
        for field in fields(Spelling):
            default = getattr(defaults, field.name)
            raw = entry.get(field.name, default)
            values[field.name] = self._typed(f"{where}.{field.name}", raw, type(default), default)
        spelling = Spelling(**values)
        if spelling.kind not in _VALUE_KINDS:
            self._fault(f"{where}.kind", spelling.kind, f"Write one of {', '.join(_VALUE_KINDS)}")
        if not spelling.set and not spelling.get:
            self._fault(where, None, "Write set, get or both")
        if spelling.set.replace("{value}", "").count("{"):
            self._fault(f"{where}.set", spelling.set, "The only placeholder is {value}")
        if spelling.set and spelling.kind in ("number", "bool") and "{value}" not in spelling.set:
            self._fault(f"{where}.set", spelling.set, "Write {value} where the value goes")
        elif spelling.set.partition("{value}")[2].strip():
            # "CURR {value}E3" would carry a current past the house limits.
            self._fault(f"{where}.set", spelling.set, "Let {value} stand last, and write scale for another unit")
        if not spelling.scale > 0:
            self._fault(f"{where}.scale", spelling.scale, "Write a number above 0")
        return spelling

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

    def _typed(self, where: str, value: object, type_: type[Any], default: Any) -> Any:
        if type_ is float and isinstance(value, int) and not isinstance(value, bool):
            return float(value)
        if isinstance(value, type_) and (type_ is bool or not isinstance(value, bool)):
            return value
        word = {str: "a text in quotes", float: "a number", int: "a whole number", bool: "true or false"}[type_]
        self._fault(where, value, f"Write {word}")
        return default

    def _known(self, where: str, table: dict[str, Any], keys: set[str] | frozenset[str]) -> None:
        for key in table:
            if key not in keys:
                self._fault(f"{where}.{key}".strip("."), None, f"Unknown; known are {', '.join(sorted(keys))}")

    def _fault(self, where: str, value: object, remedy: str) -> None:
        got = "" if value is None else f" (got {value!r})"
        self._faults.append(f"{self._path}: {where}: not usable{got}. {remedy}")
