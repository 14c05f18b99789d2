"""What stands in the file of one run, each row held against its digest; what does not agree is told, not passed on."""

from __future__ import annotations

import itertools
import math
import sqlite3
from collections.abc import Iterator
from typing import Any

from benchapp.logbook.digest import COLUMNS, END, HEAD, row_digest, run_digest
from benchapp.result.words import plural

_RUN = f"SELECT uid, {', '.join(HEAD)}, head, {', '.join(END)}, tail, digest, statements FROM run WHERE id = ?"
_ORDER = {
    "instrument": "role",
    "setting": "role, name",
    "readings": "first",
    "temperature": "first",
    "event": "ordinal",
    "statement": "ordinal",
}
_KINDS: dict[str, tuple[type, ...]] = {
    "instrument": (str, str),
    "setting": (str, str, str, str, int),
    "readings": (int, int, bytes),
    "temperature": (int, int, bytes),
    "event": (int, float, int, str, str),
    "statement": (int, str, str),
}
_HEAD_KINDS = (str, str, int, str, str, str, str)
_MOST_TOLD = 5


class FoundRun:
    """A run's rows as they can be read; `damage` has a sentence for each thing that is not as it was written."""

    def __init__(self, db: sqlite3.Connection, run_id: int) -> None:
        self._db, self.run_id = db, run_id
        self.damage: list[str] = []
        self.head: dict[str, Any] = {}
        self.end: dict[str, Any] = {}
        self.exists = False
        self.uid: Any = ""
        self._head_digest: Any = None
        self._tail: Any = None
        self._digest: Any = None
        self._statements = 0
        try:
            row = db.execute(_RUN, (run_id,)).fetchone()
        except sqlite3.Error as error:
            self.exists = True
            self.damage.append(f"it cannot be read ({error})")
            return
        if row is not None:
            self.exists = True
            self._take(row)

    def _take(self, row: tuple[Any, ...]) -> None:
        self.uid, *rest = row
        head, rest = tuple(rest[: len(HEAD)]), rest[len(HEAD) :]
        self._head_digest, *rest = rest
        end, (self._tail, self._digest, self._statements) = tuple(rest[: len(END)]), rest[len(END) :]
        if not isinstance(self.uid, str) or not _of_kinds(head, _HEAD_KINDS):
            self.damage.append("its first row is not as it was written")
            self.uid = ""
            return
        if self._head_digest != row_digest("run", self.uid, HEAD, head):
            self.damage.append("what was written at its start is not as it was written")
        self.head = dict(zip(HEAD, head, strict=True))
        if self._tail is None and self._digest is None and all(value is None for value in end):
            return
        self.end = dict(zip(END, end, strict=True))
        kinds = isinstance(end[0], str) and isinstance(end[1], str) and isinstance(end[2], str | None)
        if not kinds or self._tail != row_digest("end", self.uid, END, end):
            self.damage.append("what was written at its end is not as it was written")

    @property
    def ended(self) -> bool:
        """Whether the run has its end."""
        return bool(self.end)

    def rows(self, table: str) -> list[tuple[Any, ...]]:
        """The rows of a table that are as they were written, in order; the others are told in `damage`."""
        columns = COLUMNS[table]
        statement = f"SELECT {', '.join(columns)}, digest FROM {table} WHERE run_id = ? ORDER BY {_ORDER[table]}"
        kept: list[tuple[Any, ...]] = []
        bad = 0
        try:
            for *values, digest in self._db.execute(statement, (self.run_id,)):
                row = tuple(values)
                if _of_kinds(row, _KINDS[table]) and digest == row_digest(table, self.uid, columns, row):
                    kept.append(row)
                else:
                    bad += 1
                    if bad <= _MOST_TOLD:
                        self.damage.append(_not_as_written(table, row))
        except sqlite3.Error as error:
            self.damage.append(f"its {_NAMES[table]} cannot be read to the end ({error})")
        if bad > _MOST_TOLD:
            self.damage.append(f"and {bad - _MOST_TOLD} more of its {_NAMES[table]}")
        if not bad:
            self._look_for_gaps(table, kept)
        return kept

    def _look_for_gaps(self, table: str, rows: list[tuple[Any, ...]]) -> None:
        if table == "readings":
            wanted = 0
            for first, count, data in rows:
                if first != wanted or count * 24 != len(data) or count < 1:
                    self.damage.append(f"readings are missing before number {first}")
                    return
                wanted += count
            if self.ended and wanted != self.end["readings"]:
                self.damage.append(f"{wanted} of {self.end['readings']} readings are there")
        elif table == "temperature":
            counts = itertools.accumulate((count for _, count, _ in rows), initial=0)
            if any(
                first != at or count * 16 != len(data) for at, (first, count, data) in zip(counts, rows, strict=False)
            ):
                self.damage.append("some of its temperatures are missing")
        elif table in ("event", "statement"):
            if [row[0] for row in rows] != list(range(len(rows))):
                self.damage.append(f"some of its {_NAMES[table]} are missing")
            elif table == "statement" and len(rows) != self._statements:
                self.damage.append(f"{len(rows)} of {self._statements} statements are there")

    def look_at_whole(self) -> None:
        """Hold the run's own digest against that of its rows: a row that is missing altogether is found so."""
        if not self.ended or self.damage:
            return
        try:
            if self._digest != run_digest(self._db, self.run_id, self._head_digest, self._tail):
                self.damage.append("something that belongs to it is missing or was added")
        except (sqlite3.Error, TypeError, AttributeError) as error:
            self.damage.append(f"it cannot be read to the end ({error})")

    def readings_so_far(self) -> int:
        """How many readings there are: as written at the end, else counted."""
        if self.ended and isinstance(self.end["readings"], int):
            return int(self.end["readings"])
        return sum(row[1] for row in self.rows("readings"))


_NAMES = {
    "instrument": "instruments",
    "setting": "settings",
    "readings": "groups of readings",
    "temperature": "groups of temperatures",
    "event": "events",
    "statement": "statements",
}


def run_ids(db: sqlite3.Connection) -> tuple[list[int], list[int]]:
    """The runs that are there and those that are missing; a number is never given twice and no run is ever removed."""
    there: list[int] = []
    try:
        for (run_id,) in db.execute("SELECT id FROM run ORDER BY id"):
            there.append(run_id)
    except sqlite3.Error:
        pass  # what comes after is looked for one by one
    given = set(there)
    for source in ("SELECT seq FROM sqlite_sequence WHERE name = 'run'", "SELECT run_id FROM statement"):
        try:
            given |= {number for (number,) in db.execute(source) if isinstance(number, int) and 0 < number < _FAR}
        except sqlite3.Error:
            continue
    last = max(given, default=0)
    return there, list(itertools.islice(_absent(set(there), last), 1000))


_FAR = 2**31


def _absent(there: set[int], last: int) -> Iterator[int]:
    return (number for number in range(1, min(last, 10**6) + 1) if number not in there)


def _of_kinds(values: tuple[Any, ...], kinds: tuple[type, ...]) -> bool:
    return all(
        isinstance(value, kind) and not (isinstance(value, float) and not math.isfinite(value))
        for value, kind in zip(values, kinds, strict=True)
    )


def _not_as_written(table: str, row: tuple[Any, ...]) -> str:
    if table == "readings" and isinstance(row[0], int) and isinstance(row[1], int) and 0 < row[1] < 10**7:
        return f"the {plural(row[1], 'reading')} from number {row[0]} on are not as they were written"
    return f"one of its {_NAMES[table]} is not as it was written"
