"""The statement of a run: made once, stored whole, reopened as it was stated; every face prints this one."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchapp.analysis.budget import Budget
from benchapp.analysis.decision import Verdict
from benchapp.analysis.estimate import Estimate, Flag
from benchapp.events import EndReason, RunEnd
from benchapp.result.budget import BudgetPlan, Scope, Whole, whole_uncertainty
from benchapp.result.decision import Decision, DecisionRule, decide
from benchapp.result.in_turns import COMMON, ByRatio
from benchapp.result.material import Geometry, material_object
from benchapp.result.measured_current import flags_of_measured_current
from benchapp.result.not_tested import Untested, not_tested
from benchapp.result.validity import (
    Reason,
    Validity,
    flag_of_unsettled,
    flags_of_complaints,
    flags_of_end,
    flags_of_interval,
    judge,
    of_thermometer,
)
from benchapp.version import VERSION


@dataclass(frozen=True, slots=True)
class Terms:
    """What a run is stated under; fixed before it, never by the data.

    `endless` is a run that only its operator ends: then that end is the plan.
    """

    current_A: float
    rule: DecisionRule = field(default_factory=DecisionRule)
    known: BudgetPlan = field(default_factory=BudgetPlan)
    geometry: Geometry | None = None
    endless: bool = False
    estimator: str = ""
    emf_order: int = 1
    tells_compliance: bool = False
    part: str = ""  # of several on a scanner
    is_standard: bool = False  # the other parts are stated by their ratio to it
    unread: tuple[str, ...] = ()  # settings that could not be read back, such as "source level"


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What happened beside the readings: how the run ended (None: it goes on, or nobody knows), and what the
    instruments complained of while it went on. `left_out` are stretches that a re-analysis leaves out, with the reason;
    `unsettled` is what still moved before the run, while each sign was held.
    """

    end: RunEnd | None = None
    source_complaints: tuple[str, ...] = ()
    voltmeter_complaints: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    unsettled: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A stretch of readings that was left out, and why."""

    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Conditions:
    """Under what the value holds."""

    current_A: float | None
    temperature_C: float | None
    reference_C: float | None
    emf_order: int
    estimator: str
    range_V: float | None
    source_range_A: float | None
    accuracy_data: str
    date: str
    current_shunt_ohm: float | None = None  # over which the current was measured; None where it is the one set
    current_range_V: float | None = None


@dataclass(frozen=True, slots=True)
class Statement:
    """Value, interval, validity, decision, budget; NaN where a number does not exist.

    `estimate` is what the readings say by themselves; value and uncertainty here are those at the reference temperature
    with all that is known. U has `coverage_probability`; `comparison` says by which ratio to which standard the value
    follows, None where it does from the readings alone; `scope` says whether it covers all contributions or
    repeatability alone. `final` is False while the run goes on.
    """

    resistance_ohm: float
    standard_uncertainty_ohm: float
    expanded_uncertainty_ohm: float
    coverage_factor: float
    coverage_probability: float
    degrees_of_freedom: float
    scope: Scope
    validity: Validity
    reasons: tuple[Reason, ...]
    flags: tuple[Flag, ...]
    decision: Decision | None
    budget: Budget | None
    not_tested: tuple[Untested, ...]
    conditions: Conditions
    estimate: Estimate
    material: dict[str, Any] | None
    comparison: dict[str, Any] | None
    left_out: tuple[LeftOut, ...]
    final: bool
    software: str
    part: str = ""  # of several on a scanner
    is_standard: bool = False  # of the other parts

    @property
    def verdict(self) -> Verdict | None:
        """The verdict; None without limits, and wherever the result is not valid beyond doubt."""
        return self.decision.verdict if self.decision is not None and self.validity is Validity.VALID else None

    @property
    def exit_status(self) -> int:
        """Of the command line: 4 where there is no result, or none that is valid."""
        usable = self.estimate.blocks and self.validity is not Validity.NOT_VALID
        return 0 if usable else 4


def make_statement(
    estimate: Estimate,
    current_A: Sequence[float] | Any,
    terms: Terms,
    circumstances: Circumstances | None = None,
    by_ratio: ByRatio | None = None,
    *,
    final: bool = True,
) -> Statement:
    """State the estimate. `current_A` are the currents of the readings: they tell what was not tested.

    `by_ratio` replaces the value of the readings by that which follows from a standard.
    """
    beside = circumstances or Circumstances()
    whole = _whole(estimate, terms)
    if terms.is_standard:
        estimate = replace(estimate, flags=tuple(f for f in estimate.flags if f.code not in COMMON))
    if by_ratio is not None:
        whole = by_ratio.whole or whole
        kept = estimate.flags if by_ratio.whole is None else [f for f in estimate.flags if f.code not in COMMON]
        estimate = replace(estimate, flags=(*kept, *by_ratio.flags))
    budget = whole.budget if whole is not None else None
    R = estimate.resistance_ohm if whole is None else whole.resistance_ohm
    u, U, k, nu = (math.nan, math.nan, math.nan, 0.0)
    if budget is not None:
        u, U, k = budget.standard_uncertainty, budget.expanded_uncertainty, budget.coverage_factor
        nu = budget.degrees_of_freedom
    measured = terms.known.current_shunt_ohm is not None
    found = _of_thermometer(estimate.flags, terms, budget)
    flags = (*found, *(() if whole is None else whole.flags), *_flags_beside(estimate, terms, beside, final))
    if measured and terms.current_A is not None:
        flags = (*flags, *flags_of_measured_current(current_A, terms.current_A))
    validity, reasons = judge(flags, U)
    scope = Scope.REPEATABILITY if whole is None else whole.scope
    decision = decide(R, u, U, nu, terms.rule, validity=validity, scope=scope)
    card = terms.known.card
    bounded = card is not None and scope is Scope.ALL and (measured or card.source is not None)
    bounded |= by_ratio is not None and by_ratio.whole is not None
    untested = not_tested(
        current_A,
        tells_compliance=terms.tells_compliance,
        current_is_bounded=bounded,
        current_is_measured=measured,
        unread=terms.unread,
        examined=estimate.examined,
    )
    stated = Statement(
        resistance_ohm=R,
        standard_uncertainty_ohm=u,
        expanded_uncertainty_ohm=U,
        coverage_factor=k,
        coverage_probability=terms.known.confidence,
        degrees_of_freedom=nu,
        scope=scope,
        validity=validity,
        reasons=reasons,
        flags=flags,
        decision=decision,
        budget=budget,
        not_tested=untested,
        conditions=_conditions(terms),
        estimate=estimate,
        material=None,
        comparison=None if by_ratio is None else by_ratio.told,
        left_out=beside.left_out,
        final=final,
        software=VERSION,
        part=terms.part,
        is_standard=terms.is_standard,
    )
    if terms.geometry is None or budget is None:
        return stated
    return replace(stated, material=material_object(R, u, U, terms.geometry, terms.known.temperature, terms.rule))


def _whole(estimate: Estimate, terms: Terms) -> Whole | None:
    if not (estimate.standard_uncertainty_ohm > 0 and estimate.degrees_of_freedom > 0):
        return None
    u, degrees = estimate.standard_uncertainty_ohm, estimate.degrees_of_freedom
    return whole_uncertainty(estimate.resistance_ohm, u, degrees, terms.current_A, terms.known)


def _of_thermometer(flags: Sequence[Flag], terms: Terms, budget: Budget | None) -> Sequence[Flag]:
    """Those of the readings, where each of them was corrected by a thermometer that has noise of its own."""
    correction = terms.known.temperature
    if correction is None or not correction.through_run or budget is None:
        return flags
    u = {row.name: abs(row.contribution) for row in budget.contributions}
    by_temperature = u.get("specimen temperature", 0.0)
    return [of_thermometer(flag, u.get("repeatability", math.inf), by_temperature) for flag in flags]


def _flags_beside(estimate: Estimate, terms: Terms, beside: Circumstances, final: bool) -> list[Flag]:
    flags = flags_of_complaints(beside.source_complaints, beside.voltmeter_complaints)
    if beside.end is not None:
        flags += flags_of_end(beside.end, endless=terms.endless)
        if beside.end.reason is EndReason.OVERLOAD and not any(f.code == "overload" for f in estimate.flags):
            flags.append(Flag("overload", "stop", beside.end.text))
    followed = estimate.examined is not None and estimate.examined.followed
    if beside.unsettled and not followed and not any(f.code == "not-settled" for f in estimate.flags):
        flags.append(flag_of_unsettled(beside.unsettled[0]))
    for stretch in beside.left_out:
        text = f"{stretch.start_s:.6g} s to {stretch.end_s:.6g} s left out: {stretch.reason}"
        flags.append(Flag("stretch-left-out", "notice", text, ((stretch.start_s, stretch.end_s),)))
    return [*flags, *flags_of_interval(estimate)] if final else flags


def _conditions(terms: Terms) -> Conditions:
    known, correction = terms.known, terms.known.temperature
    return Conditions(
        current_A=terms.current_A,
        temperature_C=None if correction is None else correction.temperature_C,
        reference_C=None if correction is None else correction.reference_C,
        emf_order=terms.emf_order,
        estimator=terms.estimator,
        range_V=known.range_V,
        source_range_A=known.source_range_A,
        accuracy_data="" if known.card is None else known.card.in_words,
        date=known.on.isoformat() if isinstance(known.on, datetime.date) else str(known.on),
        current_shunt_ohm=known.current_shunt_ohm,
        current_range_V=known.current_range_V,
    )
