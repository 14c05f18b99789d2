"""What a comparison with a standard states: the unknown's value, its budget, and what the turns could not tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from benchapp.analysis.budget import Budget, Contribution, combine
from benchapp.analysis.comparison import Ratio
from benchapp.result.budget import Scope
from benchapp.result.card import InstrumentCard
from benchapp.result.in_turns import Standard, linearity_of, ratio_contributions
from benchapp.result.json_object import budget_rows, exists
from benchapp.result.statement import Statement
from benchapp.result.validity import Reason, Validity

CURVED = "With these turns a drift that is curved cannot be told from the ratio. Measure five or more in turns, such as"
CONNECTING = "The scatter of connecting anew is in no interval: these turns cannot show it."


@dataclass(frozen=True, slots=True)
class Compared:
    """The unknown's value in ohm with its budget; `reasons` make it doubtful or not valid, `remarks` are told."""

    value_ohm: float
    ratio: Ratio
    budget: Budget
    scope: Scope
    validity: Validity
    reasons: tuple[Reason, ...]
    remarks: tuple[str, ...]


def state_comparison(
    ratio: Ratio,
    standard: Standard,
    turns: Sequence[tuple[str, Statement]],
    *,
    card: InstrumentCard | None = None,
    confidence: float = 0.95,
    linear_assumed: bool = False,
) -> Compared:
    """State it. `turns` are "S" or "X" with the statement of that turn's run, in order of time."""
    value = ratio.ratio * standard.value_ohm
    linearity = _linearity(value, standard, turns, card)
    parts = ratio_contributions(ratio, standard, linearity)
    validity, reasons = _gate(ratio, turns, linear_assumed=linear_assumed)
    covered = standard.expanded_uncertainty_ohm > 0 and bool(linearity)
    return Compared(
        value,
        ratio,
        combine(parts, confidence),
        Scope.ALL if covered else Scope.REPEATABILITY,
        validity,
        reasons,
        tuple(_remarks(ratio, standard, turns, linear_assumed=linear_assumed)),
    )


def _linearity(
    value: float, standard: Standard, turns: Sequence[tuple[str, Statement]], card: InstrumentCard | None
) -> list[Contribution]:
    """The voltmeter's own: gain falls out of the ratio, what it is off by within the range does not."""
    voltages = []
    for letter, R in (("S", standard.value_ohm), ("X", value)):
        conditions = next(stated.conditions for name, stated in turns if name == letter)
        voltages.append((letter, R * (conditions.current_A or math.nan), conditions.range_V))
    return linearity_of(card, value, voltages)


def _gate(
    ratio: Ratio, turns: Sequence[tuple[str, Statement]], *, linear_assumed: bool
) -> tuple[Validity, tuple[Reason, ...]]:
    reasons = [
        Reason(reason.code, reason.validity, f"Turn {number} ({letter}): {reason.text}")
        for number, (letter, stated) in enumerate(turns, 1)
        for reason in stated.reasons
    ]
    if not ratio.sees_curvature and not linear_assumed:
        text = f"{CURVED} SXSXS; or write --drift-model linear, where you know that it is."
        reasons.append(Reason("drift-not-seen", Validity.DOUBTFUL, text))
    if ratio.scatters:
        text = "The turns scatter by more than they say of themselves: their scatter was taken. Check the connections."
        reasons.append(Reason("turns-scatter", Validity.DOUBTFUL, text))
    reasons.sort(key=lambda reason: reason.validity is not Validity.NOT_VALID)
    return (reasons[0].validity if reasons else Validity.VALID), tuple(reasons)


def _remarks(
    ratio: Ratio, standard: Standard, turns: Sequence[tuple[str, Statement]], *, linear_assumed: bool
) -> list[str]:
    told = [] if ratio.sees_scatter else [CONNECTING]
    if linear_assumed and not ratio.sees_curvature:
        told.append("The drift was taken as linear on your word; these turns cannot show it.")
    ranges = {stated.conditions.range_V for _, stated in turns}
    if len(ranges) > 1:
        told.append("The turns were read on different ranges of the voltmeter: its gain does not fall out.")
    if None in ranges:
        told.append("The voltmeter's range is not known of each turn: if it changed, its gain does not fall out.")
    if not standard.expanded_uncertainty_ohm:
        told.append("The standard was taken as exact: no uncertainty of its certificate was named.")
    return told


def compared_object(compared: Compared, runs: Sequence[int], order: str) -> dict[str, Any]:
    """For JSON and the record."""
    b = compared.budget
    return {
        "order": order,
        "runs": list(runs),
        "ratio": compared.ratio.ratio,
        "ratio_standard_uncertainty": compared.ratio.standard_uncertainty,
        "degrees_of_freedom": exists(compared.ratio.degrees_of_freedom),
        "drift_per_s": compared.ratio.drift_per_s,
        "drift_order": compared.ratio.drift_order,
        "resistance_ohm": compared.value_ohm,
        "standard_uncertainty_ohm": b.standard_uncertainty,
        "expanded_uncertainty_ohm": b.expanded_uncertainty,
        "coverage_factor": b.coverage_factor,
        "coverage_probability": b.coverage_probability,
        "scope": str(compared.scope),
        "validity": str(compared.validity),
        "reasons": [asdict(reason) for reason in compared.reasons],
        "remarks": list(compared.remarks),
        "budget": budget_rows(b),
    }
