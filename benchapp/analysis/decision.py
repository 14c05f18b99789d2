"""Judging a result against limits: JCGM 106:2012 and ILAC-G8:09/2019."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from benchapp.analysis.student import normal_cdf, t_cdf


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
    resistance_ohm: float,
    standard_uncertainty_ohm: float,
    low_ohm: float | None,
    high_ohm: float | None,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, clause 7), nothing known before.

    Few degrees of freedom make it Student's t about the value: u is itself not well known then. The t has one degree
    more than u, on a scale narrower by sqrt(nu / (nu + 1)): of all runs that show the same distance from a limit in
    units of u, those whose u came out small by luck are the rarer ones (`tests/statistics/risk.py` compares with runs).
    """
    outside = outside_probability(resistance_ohm, standard_uncertainty_ohm, low_ohm, high_ohm, degrees_of_freedom)
    return 1.0 - outside


def outside_probability(
    resistance_ohm: float,
    standard_uncertainty_ohm: float,
    low_ohm: float | None,
    high_ohm: float | None,
    degrees_of_freedom: float = math.inf,
) -> float:
    """1 minus the probability of conformity, added up from both tails so that a small one keeps its digits."""
    u = standard_uncertainty_ohm
    if not u > 0 or not degrees_of_freedom > 0:
        return math.nan
    scale = math.sqrt(1 + 1 / degrees_of_freedom) / u
    below = 0.0 if low_ohm is None else t_cdf((low_ohm - resistance_ohm) * scale, degrees_of_freedom + 1)
    above = 0.0 if high_ohm is None else t_cdf((resistance_ohm - high_ohm) * scale, degrees_of_freedom + 1)
    return below + above


@dataclass(frozen=True, slots=True)
class Risk:
    """Global risks of a process: of accepting a part that is out of tolerance, of rejecting one that is in."""

    consumer: float
    producer: float


def global_risk(
    *,
    low: float,
    high: float,
    process_mean: float,
    process_deviation: float,
    standard_uncertainty: float,
    guard_band: float = 0.0,
) -> Risk:
    """Risks over all parts of a normal process that are measured with a normal error (JCGM 106:2012, 9.5).

    Acceptance limits lie inside the tolerance by `guard_band`, in the unit of the values.
    """
    from scipy.integrate import quad

    accept_low, accept_high = low + guard_band, high - guard_band

    def accepted(value: float) -> float:
        u = standard_uncertainty
        return normal_cdf((accept_high - value) / u) - normal_cdf((accept_low - value) / u)

    def density(value: float) -> float:
        z = (value - process_mean) / process_deviation
        return math.exp(-z * z / 2) / (process_deviation * math.sqrt(2 * math.pi))

    def integral(function: Callable[[float], float], start: float, end: float) -> float:
        edges = sorted({start, end, *(x for x in (accept_low, accept_high, process_mean) if start < x < end)})
        return sum(quad(function, a, b, epsabs=1e-12)[0] for a, b in pairwise(edges))

    reach = 9 * (process_deviation + standard_uncertainty)
    bottom, top = min(low, process_mean) - reach, max(high, process_mean) + reach
    outside = integral(lambda x: density(x) * accepted(x), bottom, low)
    outside += integral(lambda x: density(x) * accepted(x), high, top)
    return Risk(outside, integral(lambda x: density(x) * (1 - accepted(x)), low, high))


def tolerance_ratio(expanded_uncertainty_ohm: float, low_ohm: float | None, high_ohm: float | None) -> float:
    """Test uncertainty ratio: width of the tolerance over that of the interval; NaN where the tolerance is open."""
    if low_ohm is None or high_ohm is None or not expanded_uncertainty_ohm > 0:
        return math.nan
    return (high_ohm - low_ohm) / (2 * expanded_uncertainty_ohm)
