"""Reading the logbook: which runs there are, and one run whole."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchapp.events import Event, EventKind
from benchapp.logbook.database import open_database
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.owner import Owner, is_alive
from benchapp.logbook.readings_csv import ReadingColumns
from drivers.instrument import Setting


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One run; `status` is running, interrupted, or the reason of its end."""

    run_id: int
    started: str
    ended: str
    status: str
    end_text: str
    software: str
    recipe_toml: str
    bench: dict[str, Any]
    readings: int
    output_off: bool
    statements: tuple[dict[str, Any], ...]

    @property
    def stated(self) -> dict[str, Any] | None:
        """What was stated at the end of the run; None where it has no end yet."""
        return self.statements[0] if self.statements else None


@dataclass(frozen=True, slots=True)
class RunRecord:
    """All that was written down of a run."""

    summary: RunSummary
    instruments: dict[str, str]
    settings: list[tuple[str, Setting]]
    readings: ReadingColumns
    events: list[Event]


_FORMER_REASONS = {"stop rule": "completed"}
_SUMMARY = """SELECT id, started, coalesce(ended, ''), reason, coalesce(end_text, ''), software, recipe, bench,
    owner_host, owner_pid, owner_started, coalesce(output_off, 1),
    (SELECT coalesce(sum(count), 0) FROM readings WHERE run_id = run.id) FROM run"""


def list_runs(path: Path) -> list[RunSummary]:
    """Every run, the oldest first. Raises LogbookError."""
    with _opened(path) as db:
        rows = db.execute(_SUMMARY + " ORDER BY id").fetchall()
        stated: dict[int, list[str]] = {}
        for run_id, body in db.execute("SELECT run_id, body FROM statement ORDER BY id"):
            stated.setdefault(run_id, []).append(body)
        return [_summary(row, stated.get(row[0], [])) for row in rows]


def load_run(path: Path, run_id: int) -> RunRecord:
    """One run. Raises LogbookError."""
    with _opened(path) as db:
        row = db.execute(_SUMMARY + " WHERE id = ?", (run_id,)).fetchone()
        if row is None:
            raise LogbookError(f"{path}: there is no run {run_id}. `benchapp logbook list` shows which there are")
        events = [
            Event(time_s, reading, EventKind(kind), text)
            for time_s, reading, kind, text in db.execute(
                "SELECT time_s, reading, kind, text FROM event WHERE run_id = ? ORDER BY id", (run_id,)
            )
        ]
        columns = ReadingColumns(pauses=[event.reading for event in events if event.kind is EventKind.PAUSE])
        for (data,) in db.execute("SELECT data FROM readings WHERE run_id = ? ORDER BY first", (run_id,)):
            for time_s, current_A, voltage_V in struct.iter_unpack("<3d", data):
                columns.time_s.append(time_s)
                columns.current_A.append(current_A)
                columns.voltage_V.append(voltage_V)
        bodies = db.execute("SELECT body FROM statement WHERE run_id = ? ORDER BY id", (run_id,)).fetchall()
        return RunRecord(
            _summary(row, [body for (body,) in bodies]),
            dict(db.execute("SELECT role, identity FROM instrument WHERE run_id = ?", (run_id,)).fetchall()),
            [
                (role, Setting(name, asked, read_back, bool(verified)))
                for role, name, asked, read_back, verified in db.execute(
                    "SELECT role, name, asked, read_back, verified FROM setting WHERE run_id = ?", (run_id,)
                )
            ],
            columns,
            events,
        )


def _summary(row: tuple[Any, ...], bodies: list[str]) -> RunSummary:
    run_id, started, ended, reason, end_text, software, recipe, bench, host, pid, owner_started, off, readings = row
    if reason is None:
        reason = "running" if is_alive(Owner(host, pid, owner_started)) else "interrupted"
    reason = _FORMER_REASONS.get(reason, reason)
    stated = tuple(json.loads(body) for body in bodies)
    told = json.loads(bench)
    return RunSummary(run_id, started, ended, reason, end_text, software, recipe, told, readings, bool(off), stated)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    db = open_database(path, create=False)
    try:
        yield db
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{path}: the logbook cannot be read ({error}). Name another file with --logbook") from error
    finally:
        db.close()
