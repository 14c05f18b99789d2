"""A part's value by its ratio to a standard that was connected in turns with it: value, budget, and what is said."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from benchapp.analysis.budget import Contribution, from_half_width
from benchapp.analysis.comparison import Ratio
from benchapp.analysis.estimate import Flag
from benchapp.result.budget import BudgetPlan, Scope, Whole, whole_by_ratio
from benchapp.result.card import InstrumentCard
from benchapp.result.validity import Reason, Validity

# What source and voltmeter do to both parts alike falls out of the ratio. Where it is one part that does so, the turns
# scatter and the ratio moves.
COMMON = frozenset({"drift-excess", "correlated-noise", "estimates-differ", "self-heating"})


@dataclass(frozen=True, slots=True)
class Standard:
    """A certified value with its expanded uncertainty (k = 2), in ohm; how far its temperature may be from that of its
    certificate, and its coefficient.
    """

    value_ohm: float
    expanded_uncertainty_ohm: float = 0.0
    coefficient_per_K: float = 0.0
    away_K: float = 0.0


@dataclass(frozen=True, slots=True)
class ByRatio:
    """A value by ratio, None where there is none; `told` is for JSON and the record."""

    whole: Whole | None
    flags: tuple[Flag, ...]
    told: dict[str, Any] | None


def ratio_contributions(ratio: Ratio, standard: Standard, linearity: Iterable[Contribution]) -> list[Contribution]:
    """What makes the unknown's value uncertain: the turns, the certificate, its temperature, the voltmeter's scale."""
    parts = [
        Contribution(
            "ratio", ratio.standard_uncertainty, standard.value_ohm, ratio.degrees_of_freedom, note="of the turns"
        ),
        Contribution("standard", standard.expanded_uncertainty_ohm / 2, ratio.ratio, note="certificate, k = 2"),
    ]
    if standard.coefficient_per_K and standard.away_K:
        u = from_half_width(standard.value_ohm * standard.coefficient_per_K * standard.away_K, "rectangular")
        note = f"{standard.coefficient_per_K * 1e6:g} ppm/K over {standard.away_K:g} K"
        parts.append(Contribution("standard's temperature", u, ratio.ratio, distribution="rectangular", note=note))
    return [*parts, *linearity]


def linearity_of(
    card: InstrumentCard | None, value_ohm: float, voltages: Iterable[tuple[str, float, float | None]]
) -> list[Contribution]:
    """The voltmeter's own: gain falls out of the ratio, what it is off by within the range does not.

    `voltages` are name, volt and range of standard and unknown; nothing where the accuracy data lacks one of them.
    """
    if card is None or card.voltmeter is None:
        return []
    found = []
    for name, voltage_V, range_V in voltages:
        accuracy = card.voltmeter.at(voltage_V, range_V)
        if accuracy is None:
            return []
        u = from_half_width(accuracy.range_ppm * 1e-6 * accuracy.range_, "rectangular") / abs(voltage_V)
        note = f"{accuracy.range_ppm:g} ppm of the range at the voltage of {name}; relative"
        found.append(Contribution(f"linearity at {name}", u, value_ohm, distribution="rectangular", note=note))
    return found


def value_by_ratio(
    ratio: Ratio, standard: Standard, names: tuple[str, str], turns: int, current_A: float, known: BudgetPlan
) -> ByRatio:
    """`names` are those of standard and part."""
    value = ratio.ratio * standard.value_ohm
    voltages = [
        (name, R * current_A, known.range_V) for name, R in zip(names, (standard.value_ohm, value), strict=True)
    ]
    linearity = linearity_of(known.card, value, voltages)
    contributions = ratio_contributions(ratio, standard, linearity)
    whole = whole_by_ratio(value, contributions, current_A, known)
    covered = standard.expanded_uncertainty_ohm > 0 and bool(linearity)
    flags = []
    if not standard.expanded_uncertainty_ohm > 0:
        text = f"{names[0]} was taken as exact: no uncertainty of its certificate was named."
        flags.append(Flag("standard-exact", "notice", text))
    told = {
        "standard": names[0],
        "standard_ohm": standard.value_ohm,
        "ratio": ratio.ratio,
        "ratio_standard_uncertainty": ratio.standard_uncertainty,
        "degrees_of_freedom": ratio.degrees_of_freedom if math.isfinite(ratio.degrees_of_freedom) else None,
        "drift_per_s": ratio.drift_per_s,
        "turns": turns,
    }
    scope = Scope.ALL if covered else Scope.REPEATABILITY
    return ByRatio(replace(whole, scope=scope, flags=tuple(flags)), (), told)


def without_ratio(why: str) -> ByRatio:
    """There is no ratio yet, or none at all."""
    return ByRatio(None, (Flag("no-ratio", "warning", f"There is no ratio to the standard: {why}."),), None)


def of_moving(moved: float) -> list[Flag]:
    """The ratio changed by so much of itself; no flag of 0."""
    if not moved:
        return []
    text = f"The ratio itself changed by {abs(moved) * 1e6:.2g} ppm over the run: one of the two parts warms, or its"
    return [Flag("ratio-moves", "warning", f"{text} contact moves. Use less current, or look at the contacts.")]


def of_standard(name: str, reasons: Iterable[Reason]) -> list[Flag]:
    """What makes the standard doubtful or not valid does so to whatever rests on it."""
    flags = []
    for reason in reasons:
        if reason.code in COMMON:
            continue
        bad = reason.validity is Validity.NOT_VALID
        code, severity = ("standard-not-valid", "stop") if bad else ("standard-doubtful", "warning")
        flags.append(Flag(code, severity, f"{name}, the standard: {reason.text}"))
    return flags
