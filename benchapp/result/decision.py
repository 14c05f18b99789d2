"""The decision on a result: verdict, what it rests on, and the risk that it is wrong."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from benchapp.analysis.decision import (
    Verdict,
    conformity_probability,
    judge_limits,
    leans_to,
    tolerance_ratio,
)
from benchapp.analysis.estimate import Estimate

LEAST_TOLERANCE_RATIO = 4.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict under a rule. NaN where a number does not exist.

    `leans_to` is told of an undecided result only. `specific_risk` is the probability that the stated verdict is wrong:
    of a false acceptance for pass, of a false rejection for fail.
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
    estimate: Estimate, low_ohm: float | None, high_ohm: float | None, rule: str, guard_band: float
) -> Decision | None:
    """By the rule "simple" or "guarded" (band in expanded uncertainties); None without limits or interval."""
    guard = 0.0 if rule == "simple" else guard_band
    R, u, U = estimate.resistance_ohm, estimate.standard_uncertainty_ohm, estimate.expanded_uncertainty_ohm
    verdict = judge_limits(R, U, low_ohm, high_ohm, guard)
    if verdict is None:
        return None
    probability = conformity_probability(R, u, low_ohm, high_ohm)
    risk = {Verdict.PASS: 1 - probability, Verdict.FAIL: probability}.get(verdict, math.nan)
    leaning = leans_to(R, low_ohm, high_ohm) if verdict is Verdict.UNDECIDED else None
    ratio = tolerance_ratio(U, low_ohm, high_ohm)
    return Decision(verdict, rule, guard, low_ohm, high_ohm, leaning, probability, risk, ratio)


def decision_object(decision: Decision | None) -> dict[str, Any] | None:
    """For JSON; a number that does not exist is null."""
    if decision is None:
        return None
    values = {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in asdict(decision).items()}
    return {**values, "warning": decision.warning or None}


def decision_in_words(decision: Decision) -> list[str]:
    """For people, on two to three lines."""
    leaning = f", leaning to {decision.leans_to}" if decision.leans_to is not None else ""
    rule = f"{decision.rule} acceptance, guard band {decision.guard_band:g} U"
    text = f"verdict: {decision.verdict}{leaning} ({rule})"
    lines = [text]
    text = f"within the limits with {percent(decision.conformity_probability)}"
    if not math.isnan(decision.specific_risk):
        text += f", risk of a wrong verdict {percent(decision.specific_risk)}"
    if not math.isnan(decision.tolerance_ratio):
        text += f"; tolerance : interval = {decision.tolerance_ratio:.3g} : 1"
    lines.append(text)
    return [*lines, f"warning: {decision.warning}"] if decision.warning else lines


def percent(probability: float) -> str:
    """A probability for people: beyond 0.01 % of either end it says so and no more."""
    percent = 100 * probability
    if percent > 99.99:
        return "more than 99.99 %"
    return "less than 0.01 %" if percent < 0.01 else f"{percent:.2f} %"
