"""What a measured current says of the source that was set: its gain, seen and no longer in the result."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from benchapp.analysis.estimate import Flag
from benchapp.analysis.levels import level_groups
from benchapp.quantity import engineering

_SAID_FROM = 1e-4  # of the current: less is within what sources promise, common practice, no source
_DOUBTED_FROM = 0.05  # no source is so far off: the resistor's value, a lead or the wrong instrument


def flags_of_measured_current(current_A: Sequence[float] | Any, set_A: float) -> list[Flag]:
    """By the largest size of the measured currents (A) against the current that was set (A)."""
    sizes = level_groups(np.asarray(current_A, dtype=float)).sizes_A
    if not sizes or not set_A:
        return []
    largest_A = sizes[-1]
    off = largest_A / abs(set_A) - 1
    measured, asked = engineering(largest_A, "A", 6), engineering(abs(set_A), "A", 6)
    if abs(off) >= _DOUBTED_FROM:
        text = (
            f"{measured} was measured where {asked} was set. A source is not so far off: check the value of the"
            " resistor, its sense leads, and which voltmeter stands where."
        )
        return [Flag("current-differs", "warning", text)]
    if abs(off) >= _SAID_FROM:
        text = f"The source gives {measured} where {asked} was set ({off:+.3%}); the result uses what was measured."
        return [Flag("source-gain", "notice", text)]
    return []
