"""A statement as the JSON object that other programs read and the record keeps, and back, equal to the digit.

A value that does not exist is null, never NaN; degrees of freedom that are infinite are null too.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, fields, replace
from typing import Any

from benchapp.analysis.budget import Budget, Contribution
from benchapp.analysis.estimate import Estimate, Estimator, Flag
from benchapp.analysis.stationarity import Stationarity
from benchapp.result.budget import Scope
from benchapp.result.decision import decision_from, decision_object
from benchapp.result.examined import examined_from, examined_object
from benchapp.result.kinds import misfit
from benchapp.result.not_tested import untested_from
from benchapp.result.statement import Conditions, LeftOut, Statement
from benchapp.result.validity import Reason, Validity

STATED_KEYS = (
    "resistance_ohm",
    "standard_uncertainty_ohm",
    "expanded_uncertainty_ohm",
    "coverage_factor",
    "coverage_probability",
    "degrees_of_freedom",
)
READING_KEYS = (
    "repeatability_95_ohm",
    "thermal_emf_V",
    "thermal_emf_slope_V_per_s",
    "readings",
    "blocks",
    "drift_ohm_per_s",
    "reading_noise_V",
    "noise_V_per_rt_Hz",
)


def statement_object(stated: Statement, identity: dict[str, Any]) -> dict[str, Any]:
    """`identity` is {"file": ...} or {"run_id": ...}."""
    e = stated.estimate
    return {
        **identity,
        **{key: exists(getattr(stated, key)) for key in STATED_KEYS},
        **{key: exists(getattr(e, key)) for key in READING_KEYS},
        "state": str(e.state),
        "estimator": str(e.estimator),
        "scope": str(stated.scope),
        "validity": str(stated.validity),
        "reasons": [asdict(reason) for reason in stated.reasons],
        "verdict": None if stated.verdict is None else str(stated.verdict),
        "decision": decision_object(stated.decision),
        "budget": budget_rows(stated.budget),
        "flags": [asdict(flag) for flag in stated.flags],
        "not_tested": [asdict(item) for item in stated.not_tested],
        "conditions": asdict(stated.conditions),
        "by_readings": {
            field.name: _plain(getattr(e, field.name))
            for field in fields(Estimate)
            if field.name not in ("flags", "examined")
        },
        **({} if e.examined is None else {"examined": examined_object(e.examined)}),
        "left_out": [asdict(stretch) for stretch in stated.left_out],
        "final": stated.final,
        "software": stated.software,
        **({"part": stated.part, "is_standard": stated.is_standard} if stated.part else {}),
        **({} if stated.comparison is None else {"comparison": stated.comparison}),
        **({} if stated.material is None else {"material": stated.material}),
    }


def run_object(statements: Sequence[Statement], identity: dict[str, Any]) -> dict[str, Any]:
    """What is stated of a run: the statement's own object, or those of its parts with what holds for all of them.

    `validity` is the worst one, `verdict` the one that all parts share, null where they do not; what is wrong with a
    standard stands with whatever rests on it.
    """
    if len(statements) == 1 and not statements[0].part:
        return statement_object(statements[0], identity)
    verdicts = {stated.verdict for stated in statements if not stated.is_standard}
    verdict = verdicts.pop() if len(verdicts) == 1 else None
    worst = [Validity.VALID, Validity.DOUBTFUL, Validity.NOT_VALID]
    return {
        **identity,
        "validity": str(max((stated.validity for stated in statements if not stated.is_standard), key=worst.index)),
        "verdict": None if verdict is None else str(verdict),
        "parts": [statement_object(stated, {}) for stated in statements],
    }


def statement_from(found: dict[str, Any]) -> Statement:
    """The statement of `statement_object`. Raises ValueError where it is another object."""
    try:
        stated = _statement_from(found)
    except (KeyError, TypeError, AttributeError, IndexError) as error:
        raise ValueError(f"no statement: {error!r}") from error
    if wrong := misfit(stated, Statement):
        raise ValueError(f"no statement: {wrong} is of another kind")
    return stated


def _statement_from(found: dict[str, Any]) -> Statement:
    flags = tuple(_flag(item) for item in found["flags"])
    numbers = {key: number(found[key]) for key in STATED_KEYS}
    if found["degrees_of_freedom"] is None:
        numbers["degrees_of_freedom"] = math.inf
    return Statement(
        **numbers,
        scope=Scope(found["scope"]),
        validity=Validity(found["validity"]),
        reasons=tuple(Reason(r["code"], Validity(r["validity"]), r["text"]) for r in found["reasons"]),
        flags=flags,
        decision=decision_from(found["decision"]),
        budget=budget_from(found),
        not_tested=untested_from(found["not_tested"]),
        conditions=Conditions(**found["conditions"]),
        estimate=replace(_estimate(found["by_readings"], flags), examined=examined_from(found.get("examined"))),
        material=found.get("material"),
        comparison=found.get("comparison"),
        part=found.get("part", ""),
        is_standard=found.get("is_standard", False),
        left_out=tuple(LeftOut(**stretch) for stretch in found["left_out"]),
        final=found["final"],
        software=found["software"],
    )


def budget_rows(budget: Budget | None) -> list[dict[str, Any]]:
    """The budget as rows, the largest share first; no row without a budget."""
    return [
        {
            "name": c.name,
            "distribution": c.distribution,
            "standard_uncertainty": c.standard_uncertainty,
            "sensitivity": c.sensitivity,
            "contribution_ohm": c.contribution,
            "degrees_of_freedom": exists(c.degrees_of_freedom),
            "share": c.share,
            "note": c.note,
        }
        for c in (() if budget is None else budget.contributions)
    ]


def budget_from(result: dict[str, Any]) -> Budget | None:
    """The budget of a recorded result; None where it was not kept."""
    if not result.get("budget"):
        return None
    parts = tuple(
        Contribution(
            row["name"],
            row["standard_uncertainty"],
            row["sensitivity"],
            _degrees(row["degrees_of_freedom"]),
            row["distribution"],
            row["note"],
            row["share"],
        )
        for row in result["budget"]
    )
    return Budget(
        parts,
        result["standard_uncertainty_ohm"],
        _degrees(result["degrees_of_freedom"]),
        result["coverage_probability"],
        result["coverage_factor"],
        result["expanded_uncertainty_ohm"],
    )


def to_line(value: dict[str, Any]) -> str:
    """One line of strict JSON."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def exists(value: float | int) -> float | int | None:
    """The number, or None for JSON where it does not exist."""
    return value if math.isfinite(value) else None


def number(value: float | None) -> float:
    """The number of a JSON value; NaN for null."""
    return math.nan if value is None else value


def _degrees(value: float | None) -> float:
    return math.inf if value is None else value


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return str(value)
    return exists(value) if isinstance(value, float) else value


def _flag(item: dict[str, Any]) -> Flag:
    where = tuple((float(a), float(b)) for a, b in item.get("where_s", ()))
    return Flag(item["code"], item["severity"], item["text"], where, item.get("size_ohm"))


def _estimate(found: dict[str, Any], flags: tuple[Flag, ...]) -> Estimate:
    values = dict(found)
    for key, value in values.items():
        if value is None:
            values[key] = math.inf if key == "degrees_of_freedom" else math.nan
    values["state"] = Stationarity(values["state"])
    values["estimator"] = Estimator(values["estimator"])
    return Estimate(**values, flags=flags)
