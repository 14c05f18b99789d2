"""Writing a run down. One writer a run; each batch is one transaction, on the disk when `append` returns."""

from __future__ import annotations

import json
import sqlite3
import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchapp.events import Event, Reading, RunEnd, Temperature
from benchapp.logbook.database import open_database
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.owner import this_process
from benchapp.logbook.query import INTERRUPTED, RunSummary
from benchapp.logbook.rows import add_comparison_row, add_row, begin_run, end_run, next_ordinal
from drivers.instrument import Setting


@dataclass(frozen=True, slots=True)
class RunHeader:
    """What is known before a run: software version, recipe as TOML, and the bench (addresses, dialects)."""

    software: str
    recipe_toml: str
    bench: dict[str, Any]


def pack_temperatures(temperatures: Sequence[Temperature]) -> bytes:
    """A group of temperatures as the logbook keeps it."""
    numbers = [number for temperature in temperatures for number in temperature]
    return struct.pack(f"<{len(numbers)}d", *numbers)


def pack_readings(readings: Sequence[Reading]) -> bytes:
    """A group of readings as the logbook keeps it."""
    numbers = [number for reading in readings for number in reading[1:]]
    return struct.pack(f"<{len(numbers)}d", *numbers)


class RunWriter:
    """Writes one run; used by one thread."""

    def __init__(self, path: Path, header: RunHeader) -> None:
        self._path = path
        self._db = open_database(path, create=True)
        owner = this_process()
        bench = json.dumps(header.bench, ensure_ascii=False)
        with self._transaction():
            self._uid = begin_run(
                self._db,
                (_now(), owner.host, owner.pid, owner.started, header.software, header.recipe_toml, bench),
            )
            self.run_id: int = self._db.execute("SELECT last_insert_rowid()").fetchone()[0]
        # Into the file itself: a copy that is made without its write-ahead log shows at least that there is a run.
        self._db.execute("PRAGMA wal_checkpoint(PASSIVE)")
        self._events = self._temperatures = 0
        self._file = _file_at(path)
        if self._file is None:
            self._db.close()
            raise LogbookError(f"{path}: leads to no file that would stay. Name a file")
        self._looked_s = time.monotonic()

    def facts(self, identities: dict[str, str], settings: Sequence[tuple[str, Setting]]) -> None:
        """Who the instruments are and how they stand."""
        with self._transaction():
            for row in identities.items():
                self._add("instrument", row)
            for role, s in settings:
                self._add("setting", (role, s.name, s.asked, s.read_back, int(s.verified)))

    def append(
        self, readings: Sequence[Reading], events: Sequence[Event], temperatures: Sequence[Temperature] = ()
    ) -> None:
        """Readings, events and temperatures, in one transaction that is on the disk afterwards."""
        if not readings and not events and not temperatures:
            return
        self._refuse_vanished()
        with self._transaction():
            if readings:
                # One row a group: a row a reading would take the interpreter from the sequencer at each of them.
                self._add("readings", (readings[0].number, len(readings), pack_readings(readings)))
            for ordinal, event in enumerate(events, self._events):
                self._add("event", (ordinal, float(event.time_s), event.reading, str(event.kind), event.text))
            if temperatures:
                self._add("temperature", (self._temperatures, len(temperatures), pack_temperatures(temperatures)))
        self._events += len(events)
        self._temperatures += len(temperatures)

    def end(self, end: RunEnd, stated: Sequence[dict[str, Any]]) -> None:
        """How the run ended, and what was stated of it, or of each of its parts."""
        self._refuse_vanished(at_once=True)
        with self._transaction():
            for one in stated:
                _add_statement(self._db, self.run_id, one)
            end_run(self._db, self.run_id, (_now(), str(end.reason), end.text, int(end.output_off)))

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _refuse_vanished(self, *, at_once: bool = False) -> None:
        """A file that was moved or removed is still written to by the system, and nobody finds it again.

        Looked at once a second. Raises LogbookError.
        """
        now = time.monotonic()
        if not (at_once or now - self._looked_s >= _LOOK_S):
            return
        self._looked_s = now
        if _file_at(self._path) != self._file:
            raise LogbookError(
                f"{self._path}: was moved, removed or replaced while a run was written to it. Put it back, or name"
                " another file; what was read until then is in the file that was taken away"
            )

    def _add(self, table: str, row: Sequence[Any]) -> None:
        add_row(self._db, table, self.run_id, self._uid, row)

    def _transaction(self) -> _Transaction:
        return _Transaction(self._db, self._path)


class _Transaction:
    """BEGIN to COMMIT, whole or not at all; a database error becomes a LogbookError."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self._db = db
        self._path = path

    def __enter__(self) -> None:
        self._run("BEGIN IMMEDIATE")

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> None:
        if kind is None:
            self._run("COMMIT")
            return
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")
        if isinstance(error, sqlite3.Error):
            raise self._lost(error) from error

    def _run(self, statement: str) -> None:
        try:
            self._db.execute(statement)
        except sqlite3.Error as error:
            raise self._lost(error) from error

    def _lost(self, error: Exception) -> LogbookError:
        return LogbookError(f"{self._path}: cannot be written ({error}). Make room, or name another file")


def _file_at(path: Path) -> tuple[int, int] | None:
    """Which file stands at the path now; None where none does."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


_LOOK_S = 1.0


def _add_statement(db: sqlite3.Connection, run_id: int, stated: dict[str, Any]) -> None:
    text = json.dumps(stated, ensure_ascii=False, allow_nan=False)
    (uid,) = db.execute("SELECT uid FROM run WHERE id = ?", (run_id,)).fetchone()
    add_row(db, "statement", run_id, uid, (next_ordinal(db, "statement", run_id), _now(), text))


def add_statements(path: Path, run_id: int, stated: Sequence[dict[str, Any]]) -> None:
    """Further statements beside those that a run has, one for each part; none is ever changed. Raises LogbookError."""
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            for one in stated:
                _add_statement(db, run_id, one)
    finally:
        db.close()


def add_comparison(path: Path, told: dict[str, Any]) -> None:
    """Keep what was stated of an unknown against a standard. Raises LogbookError."""
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            text = json.dumps(told, ensure_ascii=False, allow_nan=False)
            add_comparison_row(db, _now(), text)
    finally:
        db.close()


def conclude(path: Path, summary: RunSummary, stated: Sequence[dict[str, Any]]) -> None:
    """Write the end of a run whose program died. Raises LogbookError where it is not interrupted."""
    if summary.status != INTERRUPTED or summary.ended:
        raise LogbookError(f"{path}: run {summary.run_id} is not interrupted ({summary.status}). Nothing was changed")
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            (ended,) = db.execute("SELECT ended FROM run WHERE id = ?", (summary.run_id,)).fetchone()
            if ended is None:  # another process may have been first
                for one in stated:
                    _add_statement(db, summary.run_id, one)
                end_run(db, summary.run_id, (_now(), INTERRUPTED, "the program died; concluded later", None))
    finally:
        db.close()
