"""Headers and parameters as SCPI-99 volume 1, chapter 6 wants them: the short or the long form, nothing between."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sim.scpi.errors import ScpiError

_NODE = re.compile(r"(\[?):?([A-Za-z*]+)\]?")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Command:
    """What a header does: `set_` takes the parameters, `query` takes them and gives the reply."""

    set_: Callable[[Sequence[str]], None] | None = None
    query: Callable[[Sequence[str]], str] | None = None


def short_form(mnemonic: str) -> str:
    """The capitals of a mnemonic written like "CURRent"."""
    return "".join(c for c in mnemonic if not c.islower())


def spellings(pattern: str) -> list[tuple[str, ...]]:
    """Every allowed path for a pattern such as "[SOURce]:CURRent[:LEVel]", in capitals."""
    choices: list[list[tuple[str, ...]]] = []
    for bracket, name in _NODE.findall(pattern):
        forms: list[tuple[str, ...]] = [(form,) for form in dict.fromkeys((short_form(name), name.upper()))]
        choices.append([*forms, ()] if bracket else forms)
    return [tuple(itertools.chain(*parts)) for parts in itertools.product(*choices)]


def split_units(message: str) -> list[str]:
    """Program message units, split at semicolons outside quotes."""
    units, current, quote = [], "", ""
    for char in message:
        if quote:
            quote = "" if char == quote else quote
        elif char in "\"'":
            quote = char
        if char == ";" and not quote:
            units.append(current)
            current = ""
        else:
            current += char
    return [*units, current]


def number(text: str, low: float, high: float, default: float) -> float:
    """A numeric parameter in base units within [low, high], or MINimum, MAXimum, DEFault."""
    names = {"MIN": low, "MINIMUM": low, "MAX": high, "MAXIMUM": high, "DEF": default, "DEFAULT": default}
    if text.upper() in names:
        return names[text.upper()]
    match = _NUMBER.match(text)
    if match is None:
        raise ScpiError(-104)
    if match.end() != len(text):
        raise ScpiError(-138)
    value = float(text)
    if not low <= value <= high:
        raise ScpiError(-222)
    return value


def boolean(text: str) -> bool:
    """ON, OFF or a number, of which 0 is off."""
    if text.upper() in ("ON", "OFF"):
        return text.upper() == "ON"
    if _NUMBER.fullmatch(text) is None:
        raise ScpiError(-104)
    return round(float(text)) != 0


def choice(text: str, mnemonics: Sequence[str]) -> str:
    """Character data: the short form of the one that `text` spells."""
    for mnemonic in mnemonics:
        if text.upper() in (short_form(mnemonic), mnemonic.upper()):
            return short_form(mnemonic)
    raise ScpiError(-224)
