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


def _figure(one: Figure) -> str:
    def told(value: float) -> str:
        if not math.isfinite(value):
            return "no end"
        if value == 0:
            return "0"
        return f"{value:.6g}" if one.unit in ("1", "1/K", "ohm/h", "V/rtHz") else engineering(value, one.unit, 6)

    return (
        f"{one.name} = {told(one.value)}, 95 % interval {told(one.low)} to {told(one.high)} {_unit(one.unit)}".rstrip()
    )


def _unit(unit: str) -> str:
    return unit if unit in ("1/K", "ohm/h", "V/rtHz") else ""
