"""A statement in sentences, for people: one place that words it, for the terminal, the window and the report."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from benchapp.analysis.decision import Verdict
from benchapp.quantity import concise, engineering
from benchapp.result.budget import Scope
from benchapp.result.decision import Decision, percent
from benchapp.result.examined import examined_in_words
from benchapp.result.material import material_in_words
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity

SCOPES = {Scope.REPEATABILITY: "repeatability only", Scope.ALL: "all contributions"}
VALIDITIES = {Validity.VALID: "valid", Validity.DOUBTFUL: "doubtful", Validity.NOT_VALID: "NOT VALID"}
NOTES = {
    Verdict.PASS: "inside the limits",
    Verdict.FAIL: "outside the limits",
    Verdict.UNDECIDED: "the interval crosses a limit",
}


def value_in_words(stated: Statement) -> str:
    """Value and standard uncertainty, as 250.032(11) µΩ."""
    return concise(stated.resistance_ohm, stated.standard_uncertainty_ohm, "ohm")


def coverage_in_words(stated: Statement) -> str:
    """The coverage probability in percent."""
    return f"{100 * stated.coverage_probability:.10g} %"


def interval_in_words(stated: Statement) -> str:
    """U with its coverage probability, k and what it covers."""
    U, k = stated.expanded_uncertainty_ohm, stated.coverage_factor
    if not math.isfinite(U):
        return "no interval yet"
    half = engineering(U, "ohm", 2)
    return f"{coverage_in_words(stated)} interval, U = {half} (k = {k:.2f}), {SCOPES[stated.scope]}"


def verdict_in_words(stated: Statement) -> str:
    """The verdict with its rule and scope; what the gate says where there is none; empty without limits."""
    if stated.validity is Validity.NOT_VALID:
        return "NOT VALID: no verdict"
    decision = stated.decision
    if decision is None:
        return ""
    text = str(decision.verdict)
    if decision.leans_to is not None:
        text += f", leaning to {decision.leans_to}"
    if stated.scope is Scope.REPEATABILITY:
        text += " by repeatability"
    text += f" ({decision.rule} acceptance, guard band {decision.guard_band:g} U)"
    if stated.validity is Validity.DOUBTFUL:
        return f"none, because the result is doubtful; by its numbers {text}"
    return text


def short_verdict(stated: Statement) -> str:
    """One word for lists: the verdict where there is one, "by repeatability" where that is all it rests on."""
    if stated.verdict is None:
        return ""
    return str(stated.verdict) + (" by repeatability" if stated.scope is Scope.REPEATABILITY else "")


def risk_in_words(decision: Decision) -> str:
    """Probability, risk and the ratio of tolerance and interval; empty where none may be stated."""
    parts = []
    if math.isfinite(decision.conformity_probability):
        parts.append(f"within the limits with {percent(decision.conformity_probability)}")
    if math.isfinite(decision.specific_risk):
        parts.append(f"risk of a wrong verdict {percent(decision.specific_risk)}")
    if math.isfinite(decision.tolerance_ratio):
        parts.append(f"tolerance : interval = {decision.tolerance_ratio:.3g} : 1")
    return "; ".join(parts)


def decision_in_words(stated: Statement) -> list[str]:
    """Verdict, risk and warning, a line each."""
    verdict = verdict_in_words(stated)
    lines = [f"verdict: {verdict}"] if verdict else []
    if stated.decision is not None:
        risk = risk_in_words(stated.decision)
        lines += [risk] if risk else []
        lines += [f"warning: {stated.decision.warning}"] if stated.decision.warning else []
    return lines


def in_words(name: str, stated: Statement) -> str:
    """The whole statement, on a few lines."""
    e = stated.estimate
    struck = "NOT VALID: " if stated.validity is Validity.NOT_VALID else ""
    at = stated.conditions.reference_C
    name = f"{name}, {stated.part}" if stated.part else name
    lines = [
        f"{name}: {struck}R = {value_in_words(stated)}{'' if at is None else f' at {at:g} °C'}, {e.state}",
        f"  {interval_in_words(stated)}; {plural(e.blocks, 'block')}, {plural(e.readings, 'reading')}",
    ]
    lines += [f"  {ratio_in_words(stated.comparison)}"] if stated.comparison is not None else []
    if e.examined is not None:
        lines += [f"  {line}" for line in examined_in_words(e.examined)]
    lines += [f"  {VALIDITIES[reason.validity]}: {reason.text}" for reason in stated.reasons]
    lines += [f"  {line}" for line in decision_in_words(stated)]
    lines.append(
        f"  mean thermal EMF {engineering(e.thermal_emf_V, 'V')},"
        f" slope {engineering(e.thermal_emf_slope_V_per_s, 'V', 3)}/s"
    )
    if stated.conditions.accuracy_data:
        lines.append(f"  accuracy data: {stated.conditions.accuracy_data}")
    if stated.material is not None:
        lines += [f"  {line}" for line in material_in_words(stated.material)]
    told = {reason.code for reason in stated.reasons}
    lines += [f"  notice: {flag.text}" for flag in stated.flags if flag.code not in told]
    if stated.not_tested:
        lines.append(f"  not tested: {', '.join(item.code.replace('-', ' ') for item in stated.not_tested)}")
    return "\n".join(lines)


def plain_ratio(ratio: float, u: float) -> str:
    """A ratio with the last two digits of its standard uncertainty, as 0.9987064(38)."""
    places = max(0, 1 - math.floor(math.log10(u))) if u > 0 else 9
    return f"{ratio:.{places}f}({round(u * 10**places)})"


def drift_in_words(per_s: float) -> str:
    """A relative drift, an hour."""
    return f"{float(f'{per_s * 3600 * 1e6:.3g}'):.10g} ppm an hour"


def ratio_in_words(comparison: dict[str, Any]) -> str:
    """By which ratio to which standard a value follows."""
    ratio = plain_ratio(comparison["ratio"], comparison["ratio_standard_uncertainty"])
    standard = f"{comparison['standard']} = {engineering(comparison['standard_ohm'], 'ohm', 8)}"
    drift = drift_in_words(comparison["drift_per_s"])
    return f"by its ratio to {standard}: {ratio}, from {comparison['turns']} turns; {drift} of drift taken out"


def lot_in_words(statements: Sequence[Statement]) -> str:
    """How many parts passed, failed, and so on; empty without verdicts."""
    counted: dict[str, int] = {}
    for stated in statements:
        if not stated.is_standard:
            gate = stated.validity is not Validity.VALID
            word = VALIDITIES[stated.validity] if gate else str(stated.verdict or "")
            counted[word] = counted.get(word, 0) + 1
    return ", ".join(f"{count} {word}" for word, count in counted.items() if word)


def plural(count: int, noun: str) -> str:
    """1 run, 2 runs."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
