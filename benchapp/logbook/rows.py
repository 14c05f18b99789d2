"""Rows of the record, each written with its digest. The caller holds the transaction."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Sequence
from typing import Any

from benchapp.logbook.digest import COLUMNS, END, HEAD, row_digest, run_digest


def begin_run(db: sqlite3.Connection, head: Sequence[Any], *, run_id: int | None = None) -> str:
    """A run without an end, from the values of digest.HEAD; its uid."""
    uid = uuid.uuid4().hex
    columns = ", ".join(("id", "uid", *HEAD, "head", "statements"))
    values = (run_id, uid, *head, row_digest("run", uid, HEAD, tuple(head)), 0)
    db.execute(f"INSERT INTO run ({columns}) VALUES ({_places(values)})", values)
    return uid


def add_row(db: sqlite3.Connection, table: str, run_id: int, uid: str, values: Sequence[Any]) -> None:
    """One row of a run, from the values of digest.COLUMNS; a setting that is told again replaces the former."""
    columns = COLUMNS[table]
    row = (run_id, *values, row_digest(table, uid, columns, tuple(values)))
    names = ", ".join(("run_id", *columns, "digest"))
    verb = "INSERT OR REPLACE" if table == "setting" else "INSERT"
    db.execute(f"{verb} INTO {table} ({names}) VALUES ({_places(row)})", row)
    if table == "statement":
        db.execute("UPDATE run SET statements = statements + 1 WHERE id = ?", (run_id,))


def end_run(db: sqlite3.Connection, run_id: int, end: Sequence[Any], result: str | None = None) -> None:
    """The end of a run (when, reason, text, whether the output was off) and its digest; all else is written before."""
    uid, head = db.execute("SELECT uid, head FROM run WHERE id = ?", (run_id,)).fetchone()
    (readings,) = db.execute("SELECT coalesce(sum(count), 0) FROM readings WHERE run_id = ?", (run_id,)).fetchone()
    values = (*end, readings, result)
    tail = row_digest("end", uid, END, values)
    columns = ", ".join(f"{name} = ?" for name in (*END, "tail", "digest"))
    whole = (*values, tail, run_digest(db, run_id, head, tail), run_id)
    db.execute(f"UPDATE run SET {columns} WHERE id = ?", whole)


def next_ordinal(db: sqlite3.Connection, table: str, run_id: int) -> int:
    """How many rows the run has there."""
    found: int = db.execute(
        f"SELECT coalesce(max(ordinal) + 1, 0) FROM {table} WHERE run_id = ?",
        (run_id,),
    ).fetchone()[0]
    return found


def add_comparison_row(db: sqlite3.Connection, made: str, body: str) -> None:
    """What was stated of an unknown against a standard."""
    digest = row_digest("comparison", "", ("made", "body"), (made, body))
    db.execute("INSERT INTO comparison (made, body, digest) VALUES (?, ?, ?)", (made, body, digest))


def _places(values: Sequence[Any]) -> str:
    return ", ".join("?" * len(values))
