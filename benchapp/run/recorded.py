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
from benchapp.logbook.store import add_statement, conclude
from benchapp.measure.snapshot import RunSnapshot
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.json_object import statement_from, statement_object
from benchapp.result.statement import LeftOut, Statement, make_statement
from benchapp.run.history import History
from benchapp.run.terms import circumstances_of, terms_of
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


def first_statement(summary: RunSummary) -> Statement | None:
    """What was stated at the end of a run; None where it has no end yet. Raises LogbookError."""
    return None if summary.stated is None else _understood(summary.run_id, summary.stated)


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
    differs = _difference(statements[0], estimate) if statements else ""
    if not statements:
        known = BudgetPlan(confidence=recipe.confidence, on=run_date(record.summary))
        beside = circumstances_of(record.events, None)
        terms = terms_of(recipe, known, temperatures=temperatures_of(record), settings=record.settings)
        statements = (make_statement(estimate, columns.current_A, terms, beside, final=False),)
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
        statement=statements[0],
    )
    return RecordedRun(record, recipe, history, snapshot, record.events, statements, differs)


def _difference(stated: Statement, again: Estimate) -> str:
    """Stated against replayed: the same code and readings give the same number but for the order of a sum."""
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
    estimate, _ = replay(run.record, run.recipe)
    beside = circumstances_of(run.events, end)
    terms = terms_of(run.recipe, known, temperatures=temperatures_of(run.record), settings=run.record.settings)
    stated = make_statement(estimate, run.record.readings.current_A, terms, beside)
    conclude(path, run.record.summary, statement_object(stated, {"run_id": run_id}))
    return open_run(path, run_id)


def reanalyse(
    path: Path,
    run_id: int,
    *,
    known: BudgetPlan | None = None,
    emf_order: int | None = None,
    estimator: Estimator | None = None,
    left_out: Sequence[LeftOut] = (),
) -> Statement:
    """A further statement of a recorded run, stored beside the others, which stay. Raises LogbookError,
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
    if not stated.estimate.blocks:
        remedy = "Leave out less, or choose another EMF drift model"
        raise InputError(Fault("leaves too few readings for a result", str(run_id), remedy, field="RUN"))
    add_statement(path, run_id, statement_object(stated, {"run_id": run_id}))
    return stated


def restated(
    run: RecordedRun,
    known: BudgetPlan,
    *,
    recipe: Recipe | None = None,
    left_out: Sequence[LeftOut] = (),
) -> Statement:
    """Another statement of the same readings: other knowledge or recipe, stretches left out. Nothing is stored."""
    recipe = recipe or run.recipe
    summary, before = run.record.summary, run.statements[0]
    estimate, _ = replay(run.record, recipe, left_out_s=[(s.start_s, s.end_s) for s in left_out])
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
    beside = replace(circumstances_of(run.events, end), left_out=tuple(left_out))
    terms = terms_of(
        recipe,
        plan,
        tells_compliance=tells,
        temperatures=temperatures_of(run.record),
        settings=run.record.settings,
    )
    return make_statement(estimate, run.record.readings.current_A, terms, beside)


def run_date(summary: RunSummary) -> datetime.date:
    """The day on which a run began."""
    return datetime.datetime.fromisoformat(summary.started).date()


def _end_of(summary: RunSummary) -> RunEnd:
    known = {str(reason): reason for reason in EndReason}
    reason = known.get(summary.status, EndReason.INSTRUMENT)
    return RunEnd(reason, summary.end_text or summary.status, summary.output_off)
