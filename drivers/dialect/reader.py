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
greeting = false                     # says a line when it is connected to
hangs_up = false                     # closes the connection after each exchange
baud_rate = 9600                     # of a serial line; data_bits, parity (none, odd, even, mark, space), stop_bits,
                                     # flow (none, xon-xoff, rts-cts, dtr-dsr) beside it
[identify]
query = "*IDN?"                      # empty for one that cannot be asked
reply = "{skip}"                     # refuse an instrument that answers otherwise
[errors]
mode = "queue"                       # queue, register, reply, none
query = ":SYST:ERR?"
[sync]
mode = "query"                       # query, poll, status (query = "*OPC", by the status byte), delay, none
query = "*OPC?"
[format]
digits = 8
style = "E"                          # E or F
plus = false                         # writes +1.5, not 1.5
width = 0                            # fills with zeros to so many characters
[sequence]
reset = ["*RST"]                     # best effort
safe = [":OUTP OFF"]                 # tried one by one on every way out
[[cap.compliance]]                   # the first spelling that the instrument knows is used
set = ":SOUR:VOLT:LIM {value}"       # a unit, a channel or a letter that executes may follow: "{value} V,(@1)"
get = ":SOUR:VOLT:LIM?"
# fixed = 12.0                       # a compliance that the make fixes; or by_hand = true; or steps: kind = "index",
                                     # table = [0.5, 2.0, 10.0], rounds = "down"
# counts = 20000                     # a level in counts of the range in use
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

from drivers.dialect.capabilities import CapabilityFields
from drivers.dialect.energising import energising_faults
from drivers.dialect.model import (
    SYNC_MODES,
    Dialect,
    Errors,
    Format,
    Sync,
)
from drivers.errors import DialectError
from drivers.plain import shortened
from drivers.serial_line import FLOWS, PARITIES, STOP_BITS
from drivers.toml import TomlError, read_toml

_FOLDER = Path(__file__).parents[1] / "dialects"
_DEEPEST = 8  # overlays upon overlays
_TOP = {"id", "kind", "extends", "also_sources", "link", "identify", "errors", "sync", "format", "sequence", "cap"}
_LINK = {
    "write_termination", "read_termination", "timeout_s", "compound", "command_gap_s", "max_message_bytes", "prompt",
    "echo", "greeting", "hangs_up", "baud_rate", "data_bits", "parity", "stop_bits", "flow",
}  # fmt: skip
_LEAST_DIGITS = 6
_WIDEST = 40
_LONGEST_GAP_S = 10.0


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


class _Reader(CapabilityFields):
    """Reads one file and gathers all of its faults."""

    def refuse_energising(self, dialect: Dialect) -> None:
        """Raise DialectError where a text of it could set a level or switch an output on by itself."""
        for where, text, remedy in energising_faults(dialect):
            self.fault(where, text, remedy)
        self.raise_faults()

    def dialect(self, table: dict[str, Any], kind: str) -> Dialect:
        self.known("", table, _TOP)
        kinds = table.get("kind")
        if kind not in (kinds if isinstance(kinds, list) else [kinds]):
            self.fault("kind", kinds, f'This file is wanted for a {kind}; write kind = "{kind}"')
            self.raise_faults()
        link = self.table(table, "link", _LINK)
        identify = self.table(table, "identify", {"query", "reply"})
        sequence = self.table(table, "sequence", {"reset", "safe"})
        capabilities = self.capabilities(table.get("cap", {}), kind, kinds if isinstance(kinds, list) else [])
        if kind == "source" and not sequence.get("safe"):
            self.fault("sequence.safe", None, 'Write what switches the output off, as in safe = [":OUTP OFF"]')
        max_bytes = self.get(link, "link", "max_message_bytes", 0)
        if max_bytes < 0:
            self.fault("link.max_message_bytes", max_bytes, "Write a number of bytes, or 0 for no limit")
        return Dialect(
            id=self.typed("id", table.get("id", self.path.stem), str, ""),
            kind=kind,
            write_termination=self.get(link, "link", "write_termination", "\n"),
            read_termination=self.get(link, "link", "read_termination", "\n"),
            timeout_s=self.seconds(link, "link", "timeout_s", 2.0, at_least=0.01),
            compound=self.get(link, "link", "compound", default=True),
            reset=self.messages("sequence.reset", sequence.get("reset", [])),
            safe=self.messages("sequence.safe", sequence.get("safe", [])),
            capabilities=capabilities,
            identify=self.get(identify, "identify", "query", "*IDN?"),
            identity=self.pattern("identify.reply", identify.get("reply")),
            command_gap_s=self.seconds(link, "link", "command_gap_s", 0.0, longest=_LONGEST_GAP_S),
            max_message_bytes=max_bytes,
            prompt=self.get(link, "link", "prompt", ""),
            echo=self.get(link, "link", "echo", default=False),
            greeting=self.get(link, "link", "greeting", default=False),
            hangs_up=self.get(link, "link", "hangs_up", default=False),
            serial=self._serial(link),
            also_sources=self.typed("also_sources", table.get("also_sources", isinstance(kinds, list)), bool, False),
            errors=self._errors(table),
            sync=self._sync(table),
            format=self._format(table),
            path=str(self.path),
        )

    def _serial(self, link: dict[str, Any]) -> dict[str, int]:
        """What of a serial line is said; the rest is as the system has it."""
        found: dict[str, int] = {}
        for key, name, low, high in (("baud_rate", "baud_rate", 50, 4_000_000), ("data_bits", "data_bits", 5, 8)):
            if key in link:
                value = self.get(link, "link", key, 0)
                if not low <= value <= high:
                    self.fault(f"link.{key}", value, f"Write a whole number from {low} to {high}")
                found[name] = value
        for key, name, words in (("parity", "parity", PARITIES), ("flow", "flow_control", FLOWS)):
            if key in link:
                found[name] = words[self.word(link, "link", key, "none", tuple(words))]
        if "stop_bits" in link:
            bits = float(self.get(link, "link", "stop_bits", 1.0))
            if bits not in STOP_BITS:
                self.fault("link.stop_bits", bits, "Write 1, 1.5 or 2")
            found["stop_bits"] = STOP_BITS.get(bits, 10)
        return found

    def _errors(self, table: dict[str, Any]) -> Errors:
        section = self.table(table, "errors", {f.name for f in fields(Errors)})
        default = Errors()
        query = self.get(section, "errors", "query", default.query)
        # An empty query is the short way to say that there is no queue.
        mode = self.word(
            section, "errors", "mode", "queue" if query else "none", ("queue", "register", "reply", "none")
        )
        pattern = self.pattern("errors.reply", section.get("reply"))
        if mode == "reply" and pattern is None:
            self.fault("errors.reply", None, 'Write how an error answer looks, as in reply = "ERR {value}"')
        if mode == "register" and "query" not in section:
            self.fault("errors.query", None, 'Write what asks the register, as in query = "*ESR?"')
        bits = self.get(section, "errors", "bits", default.bits)
        drain_max = self.get(section, "errors", "drain_max", default.drain_max)
        if not 1 <= drain_max <= 1000:
            self.fault("errors.drain_max", drain_max, "Write a whole number from 1 to 1000")
        acknowledges = self.get(section, "errors", "acknowledges", default=False)
        return Errors(mode, query, bits, pattern, drain_max, acknowledges)

    def _sync(self, table: dict[str, Any]) -> Sync:
        section = self.table(table, "sync", {f.name for f in fields(Sync)})
        default = Sync()
        query = self.get(section, "sync", "query", default.query)
        mode = self.word(section, "sync", "mode", "query" if query else "none", SYNC_MODES)
        delay_s = self.seconds(section, "sync", "delay_s", 0.0)
        interval_s = self.seconds(
            section, "sync", "interval_s", default.interval_s, at_least=0.0005, longest=_LONGEST_GAP_S
        )
        if mode == "delay" and not delay_s > 0:
            self.fault("sync.delay_s", delay_s, "Write how long the slowest command takes, in seconds")
        return Sync(mode, query, self.get(section, "sync", "done", default.done), interval_s, delay_s)

    def _format(self, table: dict[str, Any]) -> Format:
        section = self.table(table, "format", {f.name for f in fields(Format)})
        digits = self.get(section, "format", "digits", 8)
        style = self.word(section, "format", "style", "E", ("E", "F"))
        if not (_LEAST_DIGITS if style == "E" else 0) <= digits <= 17:
            self.fault("format.digits", digits, f"Write {_LEAST_DIGITS} to 17: fewer lose what the recipe says")
        lists = (self.messages(f"format.{name}", section.get(name, [])) for name in ("true", "false", "overload"))
        width = self.get(section, "format", "width", 0)
        if not 0 <= width <= _WIDEST:
            self.fault("format.width", width, f"Write a number of characters up to {_WIDEST}")
        return Format(digits, style, self.get(section, "format", "plus", default=False), width, *lists)
