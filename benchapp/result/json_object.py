"""A result as the JSON object that other programs read. A value that does not exist is null, never NaN."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from typing import Any

from benchapp.analysis.budget import Budget, Contribution, welch_satterthwaite
from benchapp.analysis.estimate import Estimate

_KEYS = (
    "resistance_ohm",
    "standard_uncertainty_ohm",
    "expanded_uncertainty_ohm",
    "coverage_factor",
    "coverage_probability",
    "degrees_of_freedom",
    "repeatability_95_ohm",
    "thermal_emf_V",
    "thermal_emf_slope_V_per_s",
    "readings",
    "blocks",
    "drift_ohm_per_s",
    "reading_noise_V",
    "noise_V_per_rt_Hz",
)


def result_object(identity: dict[str, Any], estimate: Estimate, verdict: str | None = None) -> dict[str, Any]:
    """`identity` is {"file": ...} or {"run_id": ...}."""
    values = {key: _exists(getattr(estimate, key)) for key in _KEYS}
    return {
        **identity,
        **values,
        "state": str(estimate.state),
        "estimator": str(estimate.estimator),
        "flags": [asdict(flag) for flag in estimate.flags],
        "verdict": verdict,
    }


def budget_rows(budget: Budget | None) -> list[dict[str, Any]]:
    """The budget as rows, the largest share first; no row without a budget."""
    return [
        {
            "name": c.name,
            "distribution": c.distribution,
            "standard_uncertainty": c.standard_uncertainty,
            "sensitivity": c.sensitivity,
            "contribution_ohm": c.contribution,
            "degrees_of_freedom": _exists(c.degrees_of_freedom),
            "share": c.share,
            "note": c.note,
        }
        for c in (() if budget is None else budget.contributions)
    ]


def budget_from(result: dict[str, Any] | None) -> Budget | None:
    """The budget of a recorded result; None where it was not kept."""
    if not result or not result.get("budget"):
        return None
    parts = tuple(
        Contribution(
            row["name"],
            row["standard_uncertainty"],
            row["sensitivity"],
            math.inf if row["degrees_of_freedom"] is None else row["degrees_of_freedom"],
            row["distribution"],
            row["note"],
            row["share"],
        )
        for row in result["budget"]
    )
    return Budget(
        parts,
        result["standard_uncertainty_ohm"],
        welch_satterthwaite(parts),
        result["coverage_probability"],
        result["coverage_factor"],
        result["expanded_uncertainty_ohm"],
    )


def as_stated(estimate: Estimate, result: dict[str, Any] | None) -> Estimate:
    """A replayed estimate, which knows the scatter alone, with the value and interval that the record states."""
    budget = budget_from(result)
    if result is None or budget is None or len(budget.contributions) < 2:
        return estimate
    return replace(
        estimate,
        resistance_ohm=result["resistance_ohm"],
        standard_uncertainty_ohm=budget.standard_uncertainty,
        expanded_uncertainty_ohm=budget.expanded_uncertainty,
        coverage_factor=budget.coverage_factor,
        coverage_probability=budget.coverage_probability,
        degrees_of_freedom=result["degrees_of_freedom"],
    )


def to_line(value: dict[str, Any]) -> str:
    """One line of strict JSON."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _exists(value: float | int) -> float | int | None:
    return value if math.isfinite(value) else None
