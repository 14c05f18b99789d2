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

from benchapp.events import Event, Reading, RunEnd
from benchapp.logbook.database import open_database
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.owner import this_process
from benchapp.logbook.query import RunSummary
from drivers.instrument import Setting


@dataclass(frozen=True, slots=True)
class RunHeader:
    """What is known before a run: software version, recipe as TOML, and the bench (addresses, dialects)."""

    software: str
    recipe_toml: str
    bench: dict[str, Any]


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
        with self._transaction():
            cursor = self._db.execute(
                "INSERT INTO run (started, owner_host, owner_pid, owner_started, software, recipe, bench)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    _now(),
                    owner.host,
                    owner.pid,
                    owner.started,
                    header.software,
                    header.recipe_toml,
                    json.dumps(header.bench, ensure_ascii=False),
                ),
            )
        assert cursor.lastrowid is not None
        self.run_id = cursor.lastrowid
        self._file = _file_at(path)
        if self._file is None:
            self._db.close()
            raise LogbookError(f"{path}: leads to no file that would stay. Name a file")
        self._looked_s = time.monotonic()

    def facts(self, identities: dict[str, str], settings: Sequence[tuple[str, Setting]]) -> None:
        """Who the instruments are and how they stand."""
        with self._transaction():
            self._db.executemany("INSERT INTO instrument VALUES (?, ?, ?)", self._rows(identities.items()))
            rows = [(role, s.name, s.asked, s.read_back, int(s.verified)) for role, s in settings]
            self._db.executemany("INSERT OR REPLACE INTO setting VALUES (?, ?, ?, ?, ?, ?)", self._rows(rows))

    def append(self, readings: Sequence[Reading], events: Sequence[Event]) -> None:
        """Readings and events, in one transaction that is on the disk afterwards."""
        if not readings and not events:
            return
        self._refuse_vanished()
        with self._transaction():
            if readings:
                # One row a group: a row a reading would take the interpreter from the sequencer at each of them.
                group = (self.run_id, readings[0].number, len(readings), pack_readings(readings))
                self._db.execute("INSERT INTO readings VALUES (?, ?, ?, ?)", group)
            rows = [(e.time_s, e.reading, str(e.kind), e.text) for e in events]
            self._db.executemany(
                "INSERT INTO event (run_id, time_s, reading, kind, text) VALUES (?, ?, ?, ?, ?)", self._rows(rows)
            )

    def end(self, end: RunEnd, stated: dict[str, Any]) -> None:
        """How the run ended, and what was stated of it."""
        self._refuse_vanished(at_once=True)
        with self._transaction():
            self._db.execute(
                "UPDATE run SET ended = ?, reason = ?, end_text = ?, output_off = ? WHERE id = ?",
                (_now(), str(end.reason), end.text, int(end.output_off), self.run_id),
            )
            _add_statement(self._db, self.run_id, stated)

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

    def _rows(self, rows: Any) -> list[tuple[Any, ...]]:
        return [(self.run_id, *row) for row in rows]

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
        if isinstance(error, sqlite3.OperationalError):
            raise self._lost(error) from error

    def _run(self, statement: str) -> None:
        try:
            self._db.execute(statement)
        except sqlite3.OperationalError as error:
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


INTERRUPTED = "interrupted"
_LOOK_S = 1.0


def _add_statement(db: sqlite3.Connection, run_id: int, stated: dict[str, Any]) -> None:
    text = json.dumps(stated, ensure_ascii=False, allow_nan=False)
    db.execute("INSERT INTO statement (run_id, made, body) VALUES (?, ?, ?)", (run_id, _now(), text))


def add_statement(path: Path, run_id: int, stated: dict[str, Any]) -> None:
    """A further statement beside those that a run has; none is ever changed. Raises LogbookError."""
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            _add_statement(db, run_id, stated)
    finally:
        db.close()


def add_comparison(path: Path, told: dict[str, Any]) -> None:
    """Keep what was stated of an unknown against a standard. Raises LogbookError."""
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            text = json.dumps(told, ensure_ascii=False, allow_nan=False)
            db.execute("INSERT INTO comparison (made, body) VALUES (?, ?)", (_now(), text))
    finally:
        db.close()


def conclude(path: Path, summary: RunSummary, result: dict[str, Any]) -> None:
    """Write the end of a run whose program died. Raises LogbookError where it is not interrupted."""
    if summary.status != INTERRUPTED or summary.ended:
        raise LogbookError(f"{path}: run {summary.run_id} is not interrupted ({summary.status}). Nothing was changed")
    db = open_database(path, create=False)
    try:
        with _Transaction(db, path):
            db.execute(
                "UPDATE run SET ended = ?, reason = ?, end_text = ? WHERE id = ? AND ended IS NULL",
                (_now(), INTERRUPTED, "the program died; concluded later", summary.run_id),
            )
            _add_statement(db, summary.run_id, result)
    finally:
        db.close()
