"""Before the run each sign is held for several readings: what still moves there would look like resistance later.

A circuit that settles slowly, an output that slews, a source that answers "complete" too soon: after a change of the
current the first reading lies off the line through those that follow, or all of them climb. Either shows here within a
second, and in a sequence such as + - never again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.analysis.student import coverage_factor
from benchapp.quantity import engineering

_LONGEST_S = 1.0  # at one sign, where the aperture allows it
_FEWEST, _MOST = 5, 8
_SURE = 0.9999
_JUMP = 12.0  # times the noise
_MEDIAN_STEP = 0.954  # median of |difference| of two readings with normal noise, over its deviation
_CLIMB = 1e-3  # of the reading over the time of holding: a part that warms as fast is not measured well either


@dataclass(frozen=True, slots=True)
class Held:
    """How the voltage went at one sign; volt per ampere, times the current that was set, where that was measured."""

    level_A: float
    voltages_V: tuple[float, ...]


def hold_signs(
    levels_A: Sequence[float],
    aperture_s: float,
    step: Callable[[float], None],
    read: Callable[[float], tuple[float, float]],
) -> list[Held]:
    """Step to each level and read there several times. `read` gives voltage and current at a level that was set: where
    the current is measured, its own movement is the source's business and is taken out.
    """
    if aperture_s > _LONGEST_S:
        return []  # what settles is a small part of so long a reading, and a minute would go by
    count = min(_MOST, max(_FEWEST, round(_LONGEST_S / aperture_s)))
    held = []
    for level_A in levels_A:
        step(level_A)
        pairs = [read(level_A) for _ in range(count)]
        held.append(Held(level_A, tuple(V * (level_A / I if I and level_A else 1.0) for V, I in pairs)))
    return held


def still_moving(held: Sequence[Held]) -> str:
    """What moves after a change of the current, for people; empty where nothing is seen.

    The drift of the EMF is the same at both signs and falls out.
    """
    if not held:
        return ""
    high, low = (np.array(one.voltages_V) for one in held)
    half_V = abs(float(high[-2:].mean() - low[-2:].mean())) / 2
    if not (np.abs([high, low]) < OVERLOAD_V).all() or half_V == 0:
        return ""  # the run itself says what that is
    t = np.arange(1, len(high), dtype=float)
    lines = [np.polyfit(t, V[1:], 1) for V in (high, low)]
    rest = [V[1:] - np.polyval(line, t) for V, line in zip((high, low), lines, strict=True)]
    degrees = 2 * (len(t) - 2)
    s = math.sqrt(sum(float(r @ r) for r in rest) / degrees)
    # The first reading against the line of those after it; an extrapolation by one, hence the last two terms.
    spread = s * math.sqrt((1 + 1 / len(t) + t.mean() ** 2 / float(((t - t.mean()) ** 2).sum())) / 2)
    sure = coverage_factor(degrees, _SURE)
    off_V = abs(float((high[0] - lines[0][1]) - (low[0] - lines[1][1]))) / 2
    climb_V = abs(float(lines[0][0] - lines[1][0])) / 2 * len(t)
    climb_spread = s * len(t) / math.sqrt(2 * float(((t - t.mean()) ** 2).sum()))
    if off_V > sure * spread and off_V > climb_V:
        part = f"{engineering(off_V, 'V', 2)} ({off_V / half_V:.2g} of it)"
        return f"the first reading after a reversal lay {part} off those that followed"
    # A jump in the middle, as of a source that acts later than it says, is no line; nor is it seen in the median step.
    usual_V = float(np.median(np.abs(np.diff([high, low])))) / _MEDIAN_STEP
    jump_V = abs(float((high[-2:].mean() - high[:2].mean()) - (low[-2:].mean() - low[:2].mean()))) / 2
    if jump_V > _CLIMB * half_V and jump_V > _JUMP * usual_V:
        return f"the voltage moved by {engineering(jump_V, 'V', 2)} ({jump_V / half_V:.2g} of it) while held"
    if climb_V > _CLIMB * half_V and climb_V > sure * climb_spread:
        return f"the voltage still moved by {engineering(climb_V, 'V', 2)} ({climb_V / half_V:.2g} of it) while held"
    return ""
