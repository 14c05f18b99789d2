"""Judging a result against limits: JCGM 106:2012 and ILAC-G8:09/2019."""

from __future__ import annotations

import math
from enum import StrEnum

from benchapp.analysis.student import normal_cdf


class Verdict(StrEnum):
    """What can be said of a value with its interval."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


def judge_limits(
    resistance_ohm: float,
    expanded_uncertainty_ohm: float,
    low_ohm: float | None,
    high_ohm: float | None,
    guard_band: float = 1.0,
) -> Verdict | None:
    """Non-binary statement with a guard band of `guard_band` times U on both sides of a limit (ILAC-G8, 4.2.3).

    Pass where the value lies inside the limits by the guard band at least, fail where it lies outside by more than
    that, else undecided. With a guard band of 0 this is simple acceptance. None without limits or without an interval.
    """
    if (low_ohm is None and high_ohm is None) or not math.isfinite(expanded_uncertainty_ohm):
        return None
    inside = room(resistance_ohm, low_ohm, high_ohm)
    width = guard_band * expanded_uncertainty_ohm
    if inside >= width:
        return Verdict.PASS
    return Verdict.FAIL if inside < -width else Verdict.UNDECIDED


def room(resistance_ohm: float, low_ohm: float | None, high_ohm: float | None) -> float:
    """Distance in ohm to the nearer limit: positive inside, negative outside."""
    below = math.inf if low_ohm is None else resistance_ohm - low_ohm
    above = math.inf if high_ohm is None else high_ohm - resistance_ohm
    return min(below, above)


def leans_to(resistance_ohm: float, low_ohm: float | None, high_ohm: float | None) -> Verdict:
    """What an undecided result would be under simple acceptance: conditional pass or conditional fail."""
    return Verdict.PASS if room(resistance_ohm, low_ohm, high_ohm) >= 0 else Verdict.FAIL


def conformity_probability(
    resistance_ohm: float, standard_uncertainty_ohm: float, low_ohm: float | None, high_ohm: float | None
) -> float:
    """Probability that the true value lies within the limits, for a normal distribution (JCGM 106:2012, clause 7)."""
    if not standard_uncertainty_ohm > 0:
        return math.nan
    above_low = 1.0 if low_ohm is None else normal_cdf((resistance_ohm - low_ohm) / standard_uncertainty_ohm)
    above_high = 0.0 if high_ohm is None else normal_cdf((resistance_ohm - high_ohm) / standard_uncertainty_ohm)
    return above_low - above_high


def tolerance_ratio(expanded_uncertainty_ohm: float, low_ohm: float | None, high_ohm: float | None) -> float:
    """Test uncertainty ratio: width of the tolerance over that of the interval; NaN where the tolerance is open."""
    if low_ohm is None or high_ohm is None or not expanded_uncertainty_ohm > 0:
        return math.nan
    return (high_ohm - low_ohm) / (2 * expanded_uncertainty_ohm)
