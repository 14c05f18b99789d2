"""A conclusion in lines for people."""

from __future__ import annotations

import math

from benchapp.quantity import engineering
from benchapp.study.conclusion import Conclusion, Figure


def conclusion_in_words(study_id: int, found: Conclusion) -> list[str]:
    """The sentence, each figure with its interval, and what could be applied."""
    lines = [f"study {study_id}, {found.kind}: {found.text}"]
    lines += [f"  {_figure(one)}" for one in found.figures]
    lines += [f"  to be applied: {key} = {text}" for key, text in found.changes.items()]
    return lines


def figure_in_words(one: Figure) -> str:
    """Its value with the unit."""
    return f"{_told(one.value, one)} {_unit(one.unit)}".rstrip()


def interval_in_words(one: Figure) -> str:
    """From where to where it may be."""
    return f"{_told(one.low, one)} to {_told(one.high, one)} {_unit(one.unit)}".rstrip()


def _figure(one: Figure) -> str:
    return f"{one.name} = {_told(one.value, one)}, 95 % interval {interval_in_words(one)}"


def _told(value: float, one: Figure) -> str:
    """To the digits that its interval leaves."""
    if not math.isfinite(value):
        return "no end"
    if value == 0:
        return "0"
    digits = _digits(one)
    plain = one.unit in ("1", "1/K", "ohm/h", "V/rtHz")
    return f"{value:.{digits}g}" if plain else engineering(value, one.unit, digits)


def _digits(one: Figure) -> int:
    half = (one.high - one.low) / 2
    size = max(abs(one.value), abs(one.low) if math.isfinite(one.low) else 0.0)
    if not math.isfinite(half) or half <= 0 or size <= 0:
        return 3
    return max(2, min(9, math.ceil(math.log10(size / half)) + 2))


def _unit(unit: str) -> str:
    return unit if unit in ("1/K", "ohm/h", "V/rtHz") else ""
