"""What a dialect says: the link, errors, completion, formats, sequences, and one spelling or more a capability."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from drivers.dialect.pattern import Pattern

_SETTINGS_OF_A_VOLTMETER = frozenset(
    {"nplc", "aperture", "range", "autorange", "autozero", "function", "trigger_source", "format", "filter"}
)
_LINKED = frozenset({"mode", "list", "step_source", "arm", "start", "abort", "armed", "taken"})
_BUFFER = frozenset({"samples", "arm", "abort", "trigger", "armed", "pending", "count", "drain", "clear", "delay"})
KINDS = {
    "source": frozenset({"level", "output", "compliance", "range", "autorange", "limiting", "polarity"}) | _LINKED,
    "voltmeter": _SETTINGS_OF_A_VOLTMETER | frozenset({"read"}) | _BUFFER,
    "thermometer": frozenset({"temperature", "function"}),
    "switch": frozenset({"close", "open", "open_all", "closed"}),
}
REQUIRED = {
    "source": ("level", "output", "compliance"),
    "voltmeter": ("read",),
    "thermometer": ("temperature",),
    "switch": ("close", "open_all"),
}
VALUE_KINDS = ("number", "bool", "text", "bit", "index", "channel", "list")
ROUNDINGS = ("exact", "up", "down", "nearest")
ENCODINGS = {"ascii": "", "real64": ">f8", "real64-swapped": "<f8"}  # as numpy names them
ITEMS = ("value", "value time")  # of each reading in a buffer
SYNC_MODES = ("query", "poll", "status", "delay", "none")
STATUSES = ("", "proved", "unverified", "confirmed")


@dataclass(frozen=True, slots=True)
class Spelling:
    """One way to say one thing. Empty `set` or `get`: it cannot be set or asked.

    set: message with {value}, or one for each state in `on_set` and `off_set`; `before` goes ahead of it.
    kind: number (in SI units times `scale`), bool, text (fixed `value`), bit (number `bit` of a register, or any
    bit of `mask`), index (the place of the value in `table`, counted from `index_base`), channel (of a switch, as the
    user writes it), list (numbers with commas, `high` of them at most).
    reply: how an answer to `get` is read; None takes it as it is.
    rounds: what the instrument may make of a number; `rtol`, `atol` how exactly it reads back, in SI units.
    low, high: what may be sent, in SI units. settle_s: wait after setting. timeout_s: for the answer, 0 for the link's.
    encoding: how numbers come: "ascii" with commas, or a block of "real64" or "real64-swapped".
    items: what a buffer holds of each reading, "value" or "value time"; {first}, {last} and {count} in its `get` are
    the part that is asked for, counted from `index_base`; without them it gives all that it holds.
    counts: a level is written as so many counts for the range in use, instead of in amperes.
    listen: a voltmeter that sends its readings unasked; the first whole one after a change counts.
    fixed, by_hand: a compliance in V that the make fixes, or one that is set on the front panel and confirmed.
    status, evidence: what is known of this spelling; limits: "clamp", "trip" or "unknown", for a compliance.
    """

    set: str = ""
    get: str = ""
    kind: str = "number"
    scale: float = 1.0
    on: str = "ON"
    off: str = "OFF"
    value: str = ""
    bit: int = 0
    rounds: str = "exact"
    on_set: str = ""
    off_set: str = ""
    before: tuple[str, ...] = ()
    reply: Pattern | None = None
    table: tuple[float, ...] = ()
    index_base: int = 0
    rtol: float = 1e-4
    atol: float = 0.0
    verify: bool = True
    low: float = -math.inf
    high: float = math.inf
    settle_s: float = 0.0
    timeout_s: float = 0.0
    status: str = ""
    evidence: str = ""
    limits: str = "unknown"
    encoding: str = "ascii"
    items: str = "value"
    mask: int = 0
    counts: int = 0
    fixed: float = 0.0
    by_hand: bool = False
    listen: bool = False

    @property
    def settable(self) -> bool:
        """Whether there is a message that sets it."""
        return bool(self.set or (self.on_set and self.off_set))


@dataclass(frozen=True, slots=True)
class Errors:
    """How an instrument tells that it refuses something.

    mode: "queue" (entries of code and text until code 0), "register" (a number whose bits in `bits` are errors),
    "reply" (an answer that `reply` matches stands in place of data), "none". `acknowledges`: every message is answered,
    settings too.
    """

    mode: str = "queue"
    query: str = ":SYST:ERR?"
    bits: int = 0x3C  # IEEE 488.2, 11.5.1: query, device, execution and command errors
    reply: Pattern | None = None
    drain_max: int = 32
    acknowledges: bool = False


@dataclass(frozen=True, slots=True)
class Sync:
    """How to know that a command has acted: "query" (answers when done), "poll" (until `done`), "delay", "none".

    "status": `query` orders the event-status bit of the status byte, which is polled (IEEE 488.2, 11.5).
    """

    mode: str = "query"
    query: str = "*OPC?"
    done: str = "1"
    interval_s: float = 0.01
    delay_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Format:
    """How numbers are written, and which words mean what in answers. `digits` after the point, in style E or F.

    `plus` writes the sign of positive numbers too, `width` fills with zeros to so many characters.
    """

    digits: int = 8
    style: str = "E"
    plus: bool = False
    width: int = 0
    true: tuple[str, ...] = ()
    false: tuple[str, ...] = ()
    overload: tuple[str, ...] = ()

    def number(self, value: float) -> str:
        """The number as this instrument takes it."""
        return f"{value:{'+' if self.plus else ''}0{self.width or ''}.{self.digits}{self.style}}"


@dataclass(frozen=True, slots=True)
class Dialect:
    """All that a driver needs to know of an instrument family.

    `greeting`: it says a line when it is connected to. `hangs_up`: it closes the connection after each exchange.
    `serial`: settings of a serial line by PyVISA's names. An empty `identify` cannot be asked who it is.
    """

    id: str
    kind: str
    write_termination: str
    read_termination: str
    timeout_s: float
    compound: bool
    reset: tuple[str, ...]
    safe: tuple[str, ...]
    capabilities: dict[str, tuple[Spelling, ...]]
    identify: str = "*IDN?"
    identity: Pattern | None = None
    command_gap_s: float = 0.0
    max_message_bytes: int = 0
    prompt: str = ""
    echo: bool = False
    greeting: bool = False
    hangs_up: bool = False
    serial: dict[str, int] = field(default_factory=dict)
    also_sources: bool = False
    errors: Errors = field(default_factory=Errors)
    sync: Sync = field(default_factory=Sync)
    format: Format = field(default_factory=Format)
    path: str = ""

    @property
    def error_query(self) -> str:
        """What asks the error queue; empty where there is none."""
        return self.errors.query if self.errors.mode == "queue" else ""

    @property
    def sync_query(self) -> str:
        """What is answered once everything before it has acted; empty where nothing is."""
        return self.sync.query if self.sync.mode == "query" else ""
