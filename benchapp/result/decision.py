"""The decision on a result: verdict, what it rests on, and the risk that it is wrong where that can be told."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from benchapp.analysis.decision import (
    Verdict,
    judge_limits,
    leans_to,
    outside_probability,
    tolerance_ratio,
)
from benchapp.result.budget import Scope
from benchapp.result.validity import Validity

LEAST_TOLERANCE_RATIO = 4.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """Limits in ohm (None: open) and how they are applied: simple or guarded acceptance, band in U."""

    low_ohm: float | None = None
    high_ohm: float | None = None
    rule: str = "guarded"
    guard_band: float = 1.0

    @property
    def guard(self) -> float:
        """Width of the guard band in expanded uncertainties; 0 for simple acceptance."""
        return 0.0 if self.rule == "simple" else self.guard_band


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict under a rule. NaN where a number does not exist.

    `leans_to` is told of an undecided result only. `specific_risk` is the probability that the stated verdict is wrong:
    of a false acceptance for pass, of a false rejection for fail. Neither it nor any other probability is stated of an
    interval that covers repeatability alone, or of a doubtful result.
    """

    verdict: Verdict
    rule: str
    guard_band: float
    low_ohm: float | None
    high_ohm: float | None
    leans_to: Verdict | None
    conformity_probability: float
    specific_risk: float
    tolerance_ratio: float

    @property
    def warning(self) -> str:
        """What is to be said of the ratio; empty where it suffices."""
        if math.isnan(self.tolerance_ratio) or self.tolerance_ratio >= LEAST_TOLERANCE_RATIO:
            return ""
        return (
            f"The tolerance is only {self.tolerance_ratio:.2g} times as wide as the interval (below 4:1): decisions"
            " near a limit are uncertain. Measure longer, or with more current or better instruments."
        )


def decide(
    resistance_ohm: float,
    standard_uncertainty_ohm: float,
    expanded_uncertainty_ohm: float,
    degrees_of_freedom: float,
    rule: DecisionRule,
    *,
    validity: Validity,
    scope: Scope,
) -> Decision | None:
    """By the rule; None without limits or interval, and behind a shut gate."""
    if validity is Validity.NOT_VALID:
        return None
    R, U, low, high = resistance_ohm, expanded_uncertainty_ohm, rule.low_ohm, rule.high_ohm
    verdict = judge_limits(R, U, low, high, rule.guard)
    if verdict is None:
        return None
    probability = risk = ratio = math.nan
    if validity is Validity.VALID and scope is Scope.ALL:
        outside = outside_probability(R, standard_uncertainty_ohm, low, high, degrees_of_freedom)
        probability = 1 - outside
        risk = {Verdict.PASS: outside, Verdict.FAIL: probability}.get(verdict, math.nan)
        ratio = tolerance_ratio(U, low, high)
    leaning = leans_to(R, low, high) if verdict is Verdict.UNDECIDED else None
    return Decision(verdict, rule.rule, rule.guard, low, high, leaning, probability, risk, ratio)


def decision_object(decision: Decision | None) -> dict[str, Any] | None:
    """For JSON; a number that does not exist is null."""
    if decision is None:
        return None
    values = {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in asdict(decision).items()}
    return {**values, "warning": decision.warning or None}


def decision_from(found: dict[str, Any] | None) -> Decision | None:
    """The decision of `decision_object`."""
    if not found:
        return None
    numbers = ("conformity_probability", "specific_risk", "tolerance_ratio")
    return Decision(
        Verdict(found["verdict"]),
        found["rule"],
        found["guard_band"],
        found["low_ohm"],
        found["high_ohm"],
        None if found.get("leans_to") is None else Verdict(found["leans_to"]),
        *(math.nan if found.get(key) is None else float(found[key]) for key in numbers),
    )


def percent(probability: float) -> str:
    """A probability for people: beyond 0.01 % of either end it says so and no more."""
    percent = 100 * probability
    if percent > 99.99:
        return "more than 99.99 %"
    return "less than 0.01 %" if percent < 0.01 else f"{percent:.2f} %"
