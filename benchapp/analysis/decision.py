"""Judging a result against limits."""

from __future__ import annotations

import math
from enum import StrEnum


class Verdict(StrEnum):
    """What can be said of a value with its interval."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


def judge_limits(
    resistance_ohm: float, expanded_uncertainty_ohm: float, low_ohm: float | None, high_ohm: float | None
) -> Verdict | None:
    """Guard band of one expanded uncertainty on both sides (ILAC-G8:09/2019, 4.2.3, non-binary statement).

    Pass where the whole interval lies within the limits, fail where it lies outside, else undecided; None without
    limits or without an interval.
    """
    if (low_ohm is None and high_ohm is None) or not math.isfinite(expanded_uncertainty_ohm):
        return None
    low = -math.inf if low_ohm is None else low_ohm
    high = math.inf if high_ohm is None else high_ohm
    bottom, top = resistance_ohm - expanded_uncertainty_ohm, resistance_ohm + expanded_uncertainty_ohm
    if low <= bottom and top <= high:
        return Verdict.PASS
    if top < low or bottom > high:
        return Verdict.FAIL
    return Verdict.UNDECIDED
