"""A run out of the logbook as it was live: history, events and the snapshot at its end, by the code that made them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchapp.events import EndReason, Event, Reading, RunEnd, RunStatus
from benchapp.logbook.query import RunRecord, RunSummary, load_run
from benchapp.logbook.replay import recipe_of, replay
from benchapp.logbook.store import conclude
from benchapp.measure.snapshot import RunSnapshot
from benchapp.recipe import Recipe
from benchapp.result.json_object import as_stated, result_object
from benchapp.run.history import History


@dataclass(frozen=True, slots=True)
class RecordedRun:
    """One run to look at."""

    record: RunRecord
    recipe: Recipe
    history: History
    snapshot: RunSnapshot
    events: list[Event]


def open_run(path: Path, run_id: int) -> RecordedRun:
    """Load a run and compute its result again. Raises LogbookError."""
    record = load_run(path, run_id)
    recipe = recipe_of(record)
    estimate, blocks = replay(record, recipe)
    estimate = as_stated(estimate, record.summary.result)
    columns = record.readings
    history = History()
    rows = zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)
    history.extend([Reading(number, *row) for number, row in enumerate(rows)], blocks)
    snapshot = RunSnapshot(
        status=RunStatus.DONE if record.summary.status == EndReason.RULE else RunStatus.STOPPED,
        time_s=columns.time_s[-1] if columns.time_s else 0.0,
        estimate=estimate,
        verdict=recipe.judge(estimate),
        readings=len(columns.time_s),
        blocks=len(blocks),
        output_on=False,
        power_W=abs(estimate.resistance_ohm) * recipe.current_A**2,
        blocks_expected=recipe.stop.blocks,
        end=_end_of(record.summary),
    )
    return RecordedRun(record, recipe, history, snapshot, record.events)


def conclude_run(path: Path, run_id: int) -> RecordedRun:
    """Give an interrupted run its end and its result. Raises LogbookError where it still runs or has ended."""
    run = open_run(path, run_id)
    verdict = None if run.snapshot.verdict is None else str(run.snapshot.verdict)
    conclude(path, run.record.summary, result_object({"run_id": run_id}, run.snapshot.estimate, verdict))
    return open_run(path, run_id)


def _end_of(summary: RunSummary) -> RunEnd:
    known = {str(reason): reason for reason in EndReason}
    reason = known.get(summary.status, EndReason.OPERATOR)
    return RunEnd(reason, summary.end_text or summary.status, output_off=True)
