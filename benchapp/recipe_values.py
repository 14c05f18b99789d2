"""The values of a recipe's keys as they are written: each reader takes one, or says what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from benchapp.analysis.estimate import CHOSEN_BY_NAME, Estimator
from benchapp.analysis.examined.cycle import LEAST_CYCLES
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.quantity import parse, parse_coefficient, parse_difference, parse_temperature
from drivers.plain import plain

# Their values stand in `limits`.
PRESETS = ("dry-circuit",)


@dataclass(frozen=True, slots=True)
class Entry:
    """One value as it was written, and where: `field` is a key or an option, `file` the file it stands in."""

    value: Any
    field: str
    file: str = ""

    def fault(self, problem: str, remedy: str) -> Fault:
        """What is wrong with it."""
        return Fault(problem, str(self.value), remedy, field=self.field, file=self.file)


def _quantity(unit: str, low: float, high: float, *, or_zero: bool = False) -> Callable[[Entry], float]:
    """A reader of quantities above `low` (or 0, where that is allowed) and up to `high`."""

    def read(entry: Entry) -> float:
        text = str(entry.value) if entry.value == 0 and not isinstance(entry.value, bool) else entry.value
        if not isinstance(text, str):
            example = f'"{entry.value} {unit}"'
            raise InputError(entry.fault("a quantity needs its unit", f"Write a text such as {example}"))
        try:
            value = parse(text, unit)
        except QuantityError as error:
            fault = error.faults[0]
            raise InputError(Fault(fault.problem, text, fault.remedy, entry.field, entry.file)) from error
        if not (low < value <= high or (or_zero and value == 0)):
            limits = f"Write a value {'from 0' if or_zero else f'above {low:g} {unit}'} up to {high:g} {unit}"
            raise InputError(entry.fault("out of range", limits))
        return value

    return read


def _by(parser: Callable[[str], float]) -> Callable[[Entry], float]:
    """A reader by a parser of its own."""

    def read(entry: Entry) -> float:
        try:
            return parser(str(entry.value))
        except QuantityError as error:
            fault = error.faults[0]
            raise InputError(Fault(fault.problem, fault.value, fault.remedy, entry.field, entry.file)) from error

    return read


def _number(low: float, high: float) -> Callable[[Entry], float]:
    def read(entry: Entry) -> float:
        try:
            value = float(entry.value) if not isinstance(entry.value, bool) else float("nan")
        except (TypeError, ValueError, OverflowError):
            value = float("nan")
        if not low <= value <= high:
            raise InputError(entry.fault("no usable number", f"Write a number from {low:g} to {high:g}"))
        return value

    return read


def _whole(low: int, high: int) -> Callable[[Entry], int]:
    number = _number(low, high)

    def read(entry: Entry) -> int:
        value = number(entry)
        if value != int(value):
            raise InputError(entry.fault("no whole number", f"Write a whole number from {low} to {high}"))
        return int(value)

    return read


@dataclass(frozen=True, slots=True)
class Target:
    """A target uncertainty: in ohm, or relative to the value."""

    ohm: float | None = None
    relative: float | None = None


@dataclass(frozen=True, slots=True)
class Channel:
    """A part on a scanner: its name, and the channel that connects it, as the scanner calls it."""

    name: str
    number: str


MOST_CHANNELS = 200
_CHANNEL = re.compile(r"[0-9A-Za-z!]{1,20}")  # nothing that could end a list of channels and begin something else


def is_channel(text: str) -> bool:
    """Whether this may stand in a message as a channel."""
    return _CHANNEL.fullmatch(text) is not None


def _channels(entry: Entry) -> tuple[Channel, ...]:
    remedy = 'Write a name and a channel for each part, as in "S = 1, X = 2"'
    found = []
    for text in str(entry.value).split(","):
        name, equals, number = (part.strip() for part in text.partition("="))
        if not (equals and name and is_channel(number)):
            raise InputError(entry.fault(f"{text.strip()[:60]!r} is no part with its channel", remedy))
        found.append(Channel(plain(name)[:60], number))
    for what in ("name", "number"):
        if len({getattr(channel, what) for channel in found}) < len(found):
            raise InputError(entry.fault(f"a {what} stands there twice", remedy))
    if not 2 <= len(found) <= MOST_CHANNELS:
        raise InputError(entry.fault(f"{len(found)} parts", f"Write 2 to {MOST_CHANNELS} parts"))
    return tuple(found)


_RELATIVE = re.compile(r"\s*(\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+)\s*(%|ppm)\s*")


def _target(entry: Entry) -> Target:
    match = _RELATIVE.fullmatch(entry.value) if isinstance(entry.value, str) else None
    if match is None:
        return Target(ohm=_quantity("ohm", 0, 1e6)(entry))
    value = float(match[1]) * (1e-2 if match[2] == "%" else 1e-6)
    if not 0 < value < 1:
        raise InputError(entry.fault("out of range", 'Write a part of the value, such as "0.01 %" or "50 ppm"'))
    return Target(relative=value)


def _flag(entry: Entry) -> bool:
    """Yes or no; a text too, as a form and an option write it."""
    word = str(entry.value).strip().lower()
    if word not in ("true", "false", "yes", "no"):
        raise InputError(entry.fault("neither yes nor no", "Write true or false"))
    return word in ("true", "yes")


def _signs(entry: Entry) -> str:
    text = str(entry.value)
    if not text or set(text) - set("+-0"):
        raise InputError(entry.fault("no sequence of signs", "Write signs such as +- or +--+ or +0-0"))
    if len(set(text)) < 2 or len(text) > 10000:
        raise InputError(entry.fault("the current is never changed", "Write at least two different signs, as in +-"))
    return text


def _estimator(entry: Entry) -> Estimator:
    try:
        found = Estimator(str(entry.value))
    except ValueError:
        found = Estimator.EXAMINED
    if found not in CHOSEN_BY_NAME:
        raise InputError(entry.fault("no estimator", f"Write one of {', '.join(CHOSEN_BY_NAME)}"))
    return found


def _rule(entry: Entry) -> str:
    if entry.value not in ("simple", "guarded"):
        raise InputError(entry.fault("no decision rule", "Write simple or guarded"))
    return str(entry.value)


def _preset(entry: Entry) -> str:
    if entry.value not in PRESETS:
        raise InputError(entry.fault("no preset of limits", f"Write one of {', '.join(PRESETS)}"))
    return str(entry.value)


def _stepping(entry: Entry) -> str:
    if entry.value not in ("host", "lines"):
        raise InputError(entry.fault("no way of stepping", "Write host, or lines for trigger lines between them"))
    return str(entry.value)


_LONGEST_NAME = 1000


def _text(entry: Entry) -> str:
    if not isinstance(entry.value, str):
        raise InputError(entry.fault("no text", "Write it in quotes"))
    if len(entry.value) > _LONGEST_NAME:
        raise InputError(entry.fault(f"longer than {_LONGEST_NAME} characters", "Write a shorter one"))
    return plain(entry.value)


def _true(entry: Entry) -> bool:
    if entry.value is not True and str(entry.value).lower() != "true":
        raise InputError(entry.fault("can only be true", "Write endless = true, or leave it out"))
    return True


READERS: dict[str, Callable[[Entry], Any]] = {
    "name": _text,
    "serial": _text,
    "nominal": _quantity("ohm", 0, 1e6),
    "current": _quantity("A", 0, 1e4),
    "compliance": _quantity("V", 0, 1e3),
    "range": _quantity("V", 0, 1e3),
    "nplc": _number(0.0005, 1000),
    "line_frequency": _quantity("Hz", 10, 1000),
    "settle": _quantity("s", 0, 3600, or_zero=True),
    "signs": _signs,
    "emf_order": _whole(0, 2),
    "blocks": _whole(1, 100_000_000),
    "duration": _quantity("s", 0, 1e8),
    "until": _target,
    "endless": _true,
    "estimator": _estimator,
    "rule": _rule,
    "guard_band": _number(0, 10),
    "confidence": _number(0.5, 0.9999),
    "channels": _channels,
    "examine": _flag,
    "third_level": _flag,
    "unattended": _flag,
    "cycles": _whole(LEAST_CYCLES, 1_000_000),
    "rounds": _whole(1, 1_000_000),
    "turn_readings": _whole(4, 1_000_000),
    "channel_settle": _quantity("s", 0, 3600, or_zero=True),
    "standard": _quantity("ohm", 0, 1e6),
    "standard_uncertainty": _quantity("ohm", 0, 1e6, or_zero=True),
    "standard_coefficient": _by(parse_coefficient),
    "standard_away": _by(parse_difference),
    "current_shunt": _quantity("ohm", 0, 1e6),
    "temperature_lag": _quantity("s", 0, 1e5, or_zero=True),
    "reference_temperature": _by(parse_temperature),
    "temperature_coefficient": _by(parse_coefficient),
    "limits": _preset,
    "stepping": _stepping,
    "low": _quantity("ohm", -1e6, 1e6),
    "high": _quantity("ohm", -1e6, 1e6),
}
