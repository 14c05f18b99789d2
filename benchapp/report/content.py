"""What a report says: words and digits made once, so that every form of it says the same.

The sentence on U is that of JCGM 100:2008, 7.2.3; "not to be reproduced except in full" is asked for by ISO/IEC 17025,
7.8.2 (both from memory).
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import numpy as np

from benchapp.errors import Fault, InputError
from benchapp.quantity import engineering, ppm, prefix_power, shown_number
from benchapp.result.budget import Scope
from benchapp.result.examined import examined_in_words
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import (
    SCOPES,
    coverage_in_words,
    plural,
    ratio_in_words,
    risk_in_words,
    value_in_words,
)
from benchapp.run.recorded import RecordedRun

_EMF = {0: "stands still", 1: "drifts steadily", 2: "bends"}
_VERDICTS = {"pass": "Conforms", "fail": "Does not conform", "undecided": "Undecided"}
Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One contribution to the uncertainty; `share` is its part of u²."""

    name: str
    u: str
    evaluated: str
    degrees: str
    share: float
    note: str


@dataclass(frozen=True, slots=True)
class Content:
    """All of it as texts. `digits` of a run that is not valid are empty: a report prints no value as its result.

    `certain` is how many characters of `digits` are beyond doubt; `mark` is pass, fail, undecided, doubtful, not-valid
    or none; `blocks` are times in s and R in ohm, for the plot.
    """

    number: str
    title: str
    subject: str
    head: Pairs
    specimen: Pairs
    mark: str
    digits: str
    certain: int
    parenthesis: str
    unit: str
    value: str
    interval: str
    basis: str
    sentence: str
    conformity: tuple[str, ...]
    method: str
    budget: tuple[Line, ...]
    examined: tuple[str, ...]
    not_tested: tuple[str, ...]
    run: Pairs
    flags: tuple[str, ...]
    conditions: Pairs
    instruments: Pairs
    digest: str
    simulated: bool

    def as_object(self) -> dict[str, Any]:
        """For a template, or a file."""
        return asdict(self)


def content_of(run: RecordedRun, issued: datetime, part: str = "") -> Content:
    """Of one run, by what was stated of it first; of several parts on a scanner, of the one that is named. What is not
    known is left out. Raises InputError where a part has to be named.
    """
    stated, recipe, summary = stated_of(run, part), run.recipe, run.record.summary
    not_valid = stated.validity is Validity.NOT_VALID or not math.isfinite(stated.resistance_ohm)
    digits, certain, parenthesis, unit = ("", 0, "", "") if not_valid else _number(stated, recipe.nominal_ohm)
    simulated = "simulated" in str(summary.bench.get("note", summary.bench))
    return Content(
        number=f"R-{summary.run_id:04d}",
        title="Measurement of resistance",
        subject=f"{recipe.name or 'Specimen without a name'}, by four leads and current reversal",
        head=(
            ("report", f"R-{summary.run_id:04d}"),
            ("measured", f"{_local(summary.started)} … {_local(summary.ended, time_only=True)}"),
            ("issued", f"{issued:%Y-%m-%d}"),
        ),
        specimen=_given(
            ("object", recipe.name),
            ("serial", recipe.serial),
            ("nominal", "" if recipe.nominal_ohm is None else engineering(recipe.nominal_ohm, "ohm", 6)),
            ("part", stated.part),
        ),
        mark=_mark(stated, not_valid),
        digits=digits,
        certain=certain,
        parenthesis=parenthesis,
        unit=unit,
        value="" if not_valid else value_in_words(stated),
        interval="" if not_valid else _interval(stated),
        basis="" if not_valid else _basis(stated),
        sentence=_no_value(stated) if not_valid else _sentence(stated),
        conformity=_conformity(stated, run),
        method=_method(run, stated),
        budget=() if stated.budget is None or not_valid else _budget(stated),
        examined=() if stated.estimate.examined is None else tuple(examined_in_words(stated.estimate.examined)),
        not_tested=tuple(item.text for item in stated.not_tested),
        run=_run(run, stated),
        flags=tuple(flag.text for flag in stated.flags),
        conditions=_given(
            ("reference temperature", _celsius(stated.conditions.reference_C)),
            ("by its ratio", "" if stated.comparison is None else ratio_in_words(stated.comparison)),
            ("accuracy data", stated.conditions.accuracy_data or "none: U covers repeatability only"),
        ),
        instruments=tuple(sorted(run.record.instruments.items())),
        digest=_digest(run),
        simulated=simulated,
    )


def stated_of(run: RecordedRun, part: str = "") -> Statement:
    """What was stated of the run, or of one of its parts. Raises InputError where there is no such part."""
    if len(run.parts) == 1 and not part:
        return run.parts[0]
    names = [one.part for one in run.parts if one.part]
    for one in run.parts:
        if part and one.part == part:
            return one
    remedy = f"Name one of {', '.join(names)}" if names else "Leave it out: the run has one part"
    raise InputError(Fault("no such part" if part else "the run has several parts", part, remedy, field="--part"))


def _given(*pairs: tuple[str, str]) -> Pairs:
    return tuple((name, text) for name, text in pairs if text)


def _celsius(value: float | None) -> str:
    return "" if value is None else f"{value:g} °C"


def _local(moment: str, *, time_only: bool = False) -> str:
    try:
        there = datetime.fromisoformat(moment).astimezone()
    except ValueError:
        return moment or "not known"
    return f"{there:%H:%M}" if time_only else f"{there:%Y-%m-%d, %H:%M}"


def _number(stated: Statement, nominal_ohm: float | None) -> tuple[str, int, str, str]:
    R, u, U = stated.resistance_ohm, stated.standard_uncertainty_ohm, stated.expanded_uncertainty_ohm
    if not (math.isfinite(u) and u > 0 and math.isfinite(U)):
        return engineering(R, "ohm", 7).partition(" ")[0], 0, "", engineering(R, "ohm", 7).partition(" ")[2]
    shown = shown_number(R, u, U, "ohm", prefix_power(nominal_ohm or R))
    earned = stated.validity is Validity.VALID and stated.scope is Scope.ALL
    return shown.digits, shown.certain if earned else 0, shown.parenthesis, shown.unit


def _mark(stated: Statement, not_valid: bool) -> str:
    if not_valid:
        return "not-valid"
    if stated.validity is Validity.DOUBTFUL:
        return "doubtful"
    return "none" if stated.verdict is None else str(stated.verdict)


def _interval(stated: Statement) -> str:
    R, U = stated.resistance_ohm, stated.expanded_uncertainty_ohm
    if not math.isfinite(U):
        return "no interval"
    power = prefix_power(R)
    low, high = (shown_number(end, U / 2, U, "ohm", power) for end in (R - U, R + U))
    return f"{low.digits} … {high.digits} {high.unit}"


def _basis(stated: Statement) -> str:
    U = stated.expanded_uncertainty_ohm
    told = f"{coverage_in_words(stated)} interval, {SCOPES[stated.scope]}"
    return f"{told}; U is {ppm(U, stated.resistance_ohm)} of the value" if math.isfinite(U) else told


def _sentence(stated: Statement) -> str:
    U, k = stated.expanded_uncertainty_ohm, stated.coverage_factor
    if not math.isfinite(U):
        return "The run was too short to state an uncertainty."
    scope = (
        "It covers the repeatability of this run alone, not what the instruments may be off by."
        if stated.scope is Scope.REPEATABILITY
        else "It covers all contributions of the table."
    )
    degrees = stated.degrees_of_freedom
    many = f"{degrees:.0f} effective degrees of freedom" if degrees < 1e6 else "many degrees of freedom"
    return (
        f"R = {value_in_words(stated)}; the number in parentheses is the standard uncertainty u in units of the last"
        f" digits. The expanded uncertainty U = k u = {engineering(U, 'ohm', 2)} has the coverage factor k = {k:.2f},"
        f" by the t distribution for {many}; it defines an interval estimated to have a coverage probability of"
        f" {coverage_in_words(stated)}. {scope}"
    )


def _no_value(stated: Statement) -> str:
    why = " ".join(reason.text for reason in stated.reasons) or "There is no result."
    return f"The run is not valid: no value is stated. {why}"


def _conformity(stated: Statement, run: RecordedRun) -> tuple[str, ...]:
    recipe, decision = run.recipe, stated.decision
    low, high = recipe.low_ohm, recipe.high_ohm
    if low is None and high is None:
        return ()
    limits = " … ".join(engineering(end, "ohm", 6) if end is not None else "no limit" for end in (low, high))
    if stated.verdict is None or decision is None:
        why = "doubtful" if stated.validity is Validity.DOUBTFUL else "not valid"
        return (f"No statement of conformity: the result is {why}", f"limits {limits}")
    by = "" if stated.scope is Scope.ALL else ", by repeatability alone"
    rule = f"{decision.rule} acceptance, guard band {decision.guard_band:g} U"
    risk = risk_in_words(decision)
    told = (f"{_VERDICTS[str(stated.verdict)]}{by}", f"limits {limits}; {rule}", risk, decision.warning)
    return tuple(line for line in told if line)


def _method(run: RecordedRun, stated: Statement) -> str:
    recipe = run.recipe
    if recipe.examine:
        how = "in cycles that examine themselves: long dwells, half the current and zero current"
    else:
        signs = " ".join(recipe.signs.replace("-", "−")) if len(recipe.signs) <= 16 else "a long sequence"
        how = f"in the order {signs}"
    return (
        f"A current of {engineering(recipe.current_A, 'A', 4)} was driven through the outer terminals and reversed"
        f" {how}. The voltage between the inner terminals was read for {recipe.nplc:g} power-line cycles at a time,"
        f" {engineering(recipe.settle_s, 's', 3)} after each change of the current. Least squares gave R free of a"
        f" thermal EMF that {_EMF[recipe.emf_order]}; {stated.estimate.estimator} over"
        f" {plural(stated.estimate.blocks, 'block')}."
    )


def _budget(stated: Statement) -> tuple[Line, ...]:
    assert stated.budget is not None
    lines = []
    for term in stated.budget.contributions:
        degrees = term.degrees_of_freedom
        lines.append(
            Line(
                term.name,
                engineering(abs(term.contribution), "ohm", 3),
                term.distribution,
                "∞" if degrees > 1e6 else f"{degrees:.0f}",
                term.share,
                term.note,
            )
        )
    return tuple(lines)


def _run(run: RecordedRun, stated: Statement) -> Pairs:
    e, recipe, end = stated.estimate, run.recipe, run.snapshot.end
    return _given(
        ("readings", f"{e.readings} in {plural(e.blocks, 'block')}"),
        ("duration", engineering(run.snapshot.time_s, "s", 4)),
        ("end", "" if end is None else f"{end.reason}: {end.text}"),
        ("output after it", "" if end is None else "read back as off" if end.output_off else "NOT PROVED OFF"),
        ("compliance", engineering(recipe.compliance_V, "V", 3)),
        ("thermal EMF, mean", engineering(e.thermal_emf_V, "V", 3)),
        ("noise of a reading", engineering(e.reading_noise_V, "V", 3)),
        ("drift of R", f"{engineering(e.drift_ohm_per_s * 60, 'ohm', 2)} a minute"),
        ("program", f"benchapp {stated.software}"),
    )


def _digest(run: RecordedRun) -> str:
    """Over recipe, readings (s, A, V as little-endian doubles) and the first statement, as they are recorded."""
    columns = run.record.readings
    digest = hashlib.sha256(run.record.summary.recipe_toml.encode("utf-8", "surrogatepass"))
    digest.update(np.array([columns.time_s, columns.current_A, columns.voltage_V], dtype="<f8").tobytes())
    stated = run.record.summary.stated
    digest.update(json.dumps(stated, sort_keys=True, ensure_ascii=True).encode())
    return digest.hexdigest()
