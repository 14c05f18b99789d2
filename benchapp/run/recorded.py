"""A run out of the logbook as it was live: history, events, and what was stated of it, not computed anew."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.analysis.estimate import Estimate, Estimator
from benchapp.errors import Fault, InputError
from benchapp.events import EndReason, Event, RunEnd, RunStatus
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.query import RunRecord, RunSummary, load_run
from benchapp.logbook.replay import recipe_of, replay, temperatures_of
from benchapp.logbook.store import add_statements, conclude
from benchapp.measure.snapshot import RunSnapshot
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.json_object import statement_from, statement_object
from benchapp.result.statement import LeftOut, Statement, Terms
from benchapp.run.history import History
from benchapp.run.stating import headline, state_run
from benchapp.run.terms import terms_of
from benchapp.version import VERSION


@dataclass(frozen=True, slots=True)
class RecordedRun:
    """One run to look at; `statements` are what was stated of it, the first at its end.

    `differs` says where its readings do not give, by this program's analysis, what was stated.
    """

    record: RunRecord
    recipe: Recipe
    history: History
    snapshot: RunSnapshot
    events: list[Event]
    statements: tuple[Statement, ...]
    differs: str = ""

    @property
    def parts(self) -> tuple[Statement, ...]:
        """What was stated first: of the run, or of each of its parts."""
        return self.statements[: max(1, len(self.recipe.channels))]

    @property
    def later(self) -> tuple[Statement, ...]:
        """What was stated since."""
        return self.statements[len(self.parts) :]


def first_statements(summary: RunSummary) -> tuple[Statement, ...]:
    """What was stated at the end of a run, or of each of its parts; empty where it has no end. Raises LogbookError."""
    return tuple(_understood(summary.run_id, body) for body in summary.stated_parts)


def _understood(run_id: int, body: dict[str, Any]) -> Statement:
    try:
        return statement_from(body)
    except ValueError as error:
        raise LogbookError(f"run {run_id}: what was stated of it cannot be understood ({error})") from error


def open_run(path: Path, run_id: int) -> RecordedRun:
    """Load a run. One that has no end yet is stated from its readings, as it stands. Raises LogbookError."""
    record = load_run(path, run_id)
    recipe = recipe_of(record)
    columns = record.readings
    estimate, blocks = replay(record, recipe)
    statements = tuple(_understood(run_id, body) for body in record.summary.statements)
    if statements:
        differs = _differences(statements, record, recipe, estimate)
    else:
        differs = ""
        known = BudgetPlan(confidence=recipe.confidence, on=run_date(record.summary))
        terms = terms_of(recipe, known, temperatures=temperatures_of(record), settings=record.settings)
        statements = _state(record, recipe, terms, None, final=False)
    history = History()
    history.blocks.extend(blocks.T.tolist())
    history.temperatures.extend(record.temperatures)
    history.readings.extend(np.array([columns.time_s, columns.current_A, columns.voltage_V]).T.tolist())
    snapshot = RunSnapshot(
        status=RunStatus.DONE if record.summary.status == EndReason.RULE else RunStatus.STOPPED,
        time_s=columns.time_s[-1] if columns.time_s else 0.0,
        readings=len(columns.time_s),
        blocks=blocks.shape[1],
        output_on=False,
        blocks_expected=recipe.stop.blocks,
        end=_end_of(record.summary),
        statement=headline(statements[: max(1, len(recipe.channels))]),
    )
    return RecordedRun(record, recipe, history, snapshot, record.events, statements, differs)


def _state(
    record: RunRecord,
    recipe: Recipe,
    terms: Terms,
    end: RunEnd | None,
    *,
    left_out: Sequence[LeftOut] = (),
    final: bool = True,
) -> tuple[Statement, ...]:
    columns = record.readings
    readings = np.array([columns.time_s, columns.current_A, columns.voltage_V], dtype=float)
    told = temperatures_of(record)
    return state_run(recipe, readings, record.events, told, terms, end, left_out=left_out, final=final)


def _differences(stated: Sequence[Statement], record: RunRecord, recipe: Recipe, estimate: Estimate) -> str:
    """Stated against replayed, for the run or each of its parts."""
    if not recipe.channels:
        return _difference(stated[0], estimate)
    terms = terms_of(recipe, BudgetPlan(confidence=recipe.confidence), temperatures=temperatures_of(record))
    again = _state(record, recipe, terms, None)
    if len(stated) < len(again):
        return f"{len(again)} parts were measured, and {len(stated)} are stated"
    pairs = list(zip(stated[: len(again)], again, strict=True))
    told = [(one.part, _difference(one, two.estimate)) for one, two in pairs]
    told += [(one.part, "its ratio does not follow from the readings") for one, two in pairs if _other_ratio(one, two)]
    return "; ".join(f"{part}: {text}" for part, text in told if text)


def _other_ratio(stated: Statement, again: Statement) -> bool:
    was, now = (None if one.comparison is None else float(one.comparison["ratio"]) for one in (stated, again))
    return was != now if was is None or now is None else abs(now - was) > 1e-9 * abs(was)


def _difference(stated: Statement, again: Estimate) -> str:
    """The same code and readings give the same number but for the order of a sum."""
    was, now = stated.estimate.resistance_ohm, again.resistance_ohm
    least = max(1e-9 * abs(was), 1e-6 * stated.estimate.expanded_uncertainty_ohm)
    if was == now or (math.isnan(was) and math.isnan(now)) or abs(now - was) <= least:
        return ""
    return (
        f"what was stated does not follow from the readings: they give {now:.9g} \u03a9, stated is {was:.9g} \u03a9"
        f"{'' if stated.software == VERSION else f' (by benchapp {stated.software})'}"
    )


def conclude_run(path: Path, run_id: int) -> RecordedRun:
    """Give an interrupted run its end and its statement. Raises LogbookError where it still runs or has ended."""
    run = open_run(path, run_id)
    known = BudgetPlan(confidence=run.recipe.confidence, on=run_date(run.record.summary))
    end = RunEnd(EndReason.INSTRUMENT, "the program died in the middle of it", output_off=True)
    terms = terms_of(run.recipe, known, temperatures=temperatures_of(run.record), settings=run.record.settings)
    stated = _state(run.record, run.recipe, terms, end)
    conclude(path, run.record.summary, [statement_object(one, {"run_id": run_id}) for one in stated])
    return open_run(path, run_id)


def reanalyse(
    path: Path,
    run_id: int,
    *,
    known: BudgetPlan | None = None,
    emf_order: int | None = None,
    estimator: Estimator | None = None,
    left_out: Sequence[LeftOut] = (),
) -> tuple[Statement, ...]:
    """A further statement of a recorded run, or one of each part, stored beside the others, which stay. Raises
    LogbookError,
    InputError where too little is left.

    Of what is not named the recipe's own holds; ranges in use and the day are those of the run.
    """
    run = open_run(path, run_id)
    recipe = replace(
        run.recipe,
        emf_order=run.recipe.emf_order if emf_order is None else emf_order,
        wanted_estimator=estimator or run.recipe.wanted_estimator,
    )
    known = known or BudgetPlan(confidence=run.recipe.confidence)
    stated = restated(run, known, recipe=recipe, left_out=left_out)
    if not any(one.estimate.blocks for one in stated):
        remedy = "Leave out less, or choose another EMF drift model"
        raise InputError(Fault("leaves too few readings for a result", str(run_id), remedy, field="RUN"))
    add_statements(path, run_id, [statement_object(one, {"run_id": run_id}) for one in stated])
    return stated


def restated(
    run: RecordedRun,
    known: BudgetPlan,
    *,
    recipe: Recipe | None = None,
    left_out: Sequence[LeftOut] = (),
) -> tuple[Statement, ...]:
    """Other statements of the same readings: other knowledge or recipe, stretches left out. Nothing is stored."""
    recipe = recipe or run.recipe
    summary, before = run.record.summary, run.statements[0]
    there = before.conditions
    plan = replace(
        known,
        on=run_date(summary),
        range_V=there.range_V,
        source_range_A=there.source_range_A,
        current_range_V=there.current_range_V,
    )
    tells = bool(before.not_tested) and all(item.code != "compliance" for item in before.not_tested)
    end = _end_of(summary) if summary.ended else None
    terms = terms_of(
        recipe,
        plan,
        tells_compliance=tells,
        temperatures=temperatures_of(run.record),
        settings=run.record.settings,
    )
    return _state(run.record, recipe, terms, end, left_out=left_out)


def run_date(summary: RunSummary) -> datetime.date:
    """The day on which a run began."""
    return datetime.datetime.fromisoformat(summary.started).date()


def _end_of(summary: RunSummary) -> RunEnd:
    known = {str(reason): reason for reason in EndReason}
    reason = known.get(summary.status, EndReason.INSTRUMENT)
    return RunEnd(reason, summary.end_text or summary.status, summary.output_off)
