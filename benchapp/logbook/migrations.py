"""A logbook of an earlier version brought to this one: the file is copied first, and nothing in it is lost."""

from __future__ import annotations

import json
import math
import sqlite3
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchapp.analysis.estimate import Flag
from benchapp.logbook.digest import COLUMNS, END, HEAD
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.rows import add_comparison_row, add_row, begin_run, end_run
from benchapp.logbook.shape import statements_of
from benchapp.result.json_object import READING_KEYS, STATED_KEYS
from benchapp.result.validity import EFFECTS, Reason, judge


def migrate(db: sqlite3.Connection, path: Path, version: int) -> None:
    """Copy the file, then bring it up. Raises LogbookError where the copy cannot be made."""
    _back_up(db, path, version)
    bring_up(db, path, version)


def bring_up(db: sqlite3.Connection, path: Path, version: int) -> None:
    """Step by step, each in one transaction. Raises LogbookError where what was written then cannot be understood."""
    try:
        _take_steps(db, version)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise LogbookError(
            f"{path}: is of an earlier version, and what stands in it cannot be understood ({error!r})."
            " Nothing in it was changed. Take a copy of it that is whole"
        ) from error


def _take_steps(db: sqlite3.Connection, version: int) -> None:
    for step in range(version, len(_STEPS) + 1):
        db.execute("BEGIN IMMEDIATE")
        try:
            # Another process may have been first.
            if db.execute("PRAGMA user_version").fetchone()[0] == step:
                _STEPS[step - 1](db)
                db.execute(f"PRAGMA user_version = {step + 1}")
            db.execute("COMMIT")
        except BaseException:
            db.execute("ROLLBACK")
            raise


def _back_up(db: sqlite3.Connection, path: Path, version: int) -> None:
    """A copy beside the logbook, whole and consistent; one that stands there already is not written over."""
    copy = path.with_name(f"{path.name}.schema-{version}.backup")
    if copy.exists():
        return
    partial = copy.with_name(copy.name + ".part")
    try:
        partial.unlink(missing_ok=True)
        with sqlite3.connect(partial) as target:
            db.backup(target)
        target.close()
        partial.rename(copy)
    except (OSError, sqlite3.Error) as error:
        raise LogbookError(
            f"{path}: is of an earlier version, and no copy of it can be made at {copy} ({error}). Make room there"
        ) from error


def _to_2(db: sqlite3.Connection) -> None:
    """Statements in a table of their own; a run may have several."""
    db.execute(
        "CREATE TABLE statement (id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL REFERENCES run(id),"
        " made TEXT NOT NULL, body TEXT NOT NULL)"
    )
    db.execute("CREATE INDEX statement_of_run ON statement(run_id)")
    db.execute("CREATE TABLE comparison (id INTEGER PRIMARY KEY, made TEXT NOT NULL, body TEXT NOT NULL)")
    rows = db.execute("SELECT id, started, ended, recipe, result FROM run WHERE result IS NOT NULL ORDER BY id")
    for run_id, started, ended, recipe, result in rows.fetchall():
        body = statement_of_1(json.loads(result), recipe, started)
        made = ended or datetime.now(UTC).isoformat(timespec="milliseconds")
        text = json.dumps(body, ensure_ascii=False, allow_nan=False)
        db.execute("INSERT INTO statement (run_id, made, body) VALUES (?, ?, ?)", (run_id, made, text))


def _to_3(db: sqlite3.Connection) -> None:
    """A digest a row and a run. What was damaged before cannot be told any more; what is damaged later is found."""
    tables = ("statement", "comparison", "instrument", "setting", "readings", "event", "run")
    for index in ("statement_of_run", "event_of_run"):
        db.execute(f"DROP INDEX IF EXISTS {index}")
    for table in tables:
        db.execute(f"ALTER TABLE {table} RENAME TO former_{table}")
    for statement in (*statements_of(3), _temperature_table()):  # which the digest of a run looks into
        db.execute(statement)
    columns = ", ".join(("id", *HEAD, *(name for name in END if name != "readings")))
    runs = db.execute(f"SELECT {columns} FROM former_run ORDER BY id").fetchall()
    for run_id, *rest in runs:
        _run_to_3(db, run_id, tuple(rest[: len(HEAD)]), tuple(rest[len(HEAD) :]))
    for made, body in db.execute("SELECT made, body FROM former_comparison ORDER BY id").fetchall():
        add_comparison_row(db, made, body)
    for table in tables:
        db.execute(f"DROP TABLE former_{table}")


def _to_4(db: sqlite3.Connection) -> None:
    """Temperatures through a run."""
    if not db.execute("SELECT 1 FROM sqlite_master WHERE name = 'temperature'").fetchone():
        db.execute(_temperature_table())


def _temperature_table() -> str:
    return next(statement for statement in statements_of(4) if "TABLE temperature" in statement)


def _run_to_3(db: sqlite3.Connection, run_id: int, head: tuple[Any, ...], end: tuple[Any, ...]) -> None:
    uid = begin_run(db, head, run_id=run_id)
    for table in ("instrument", "setting", "readings"):
        columns = ", ".join(COLUMNS[table])
        for row in db.execute(f"SELECT {columns} FROM former_{table} WHERE run_id = ?", (run_id,)):
            add_row(db, table, run_id, uid, row)
    for table, columns in (("event", "time_s, reading, kind, text"), ("statement", "made, body")):
        rows = db.execute(f"SELECT {columns} FROM former_{table} WHERE run_id = ? ORDER BY id", (run_id,))
        for ordinal, row in enumerate(rows):
            add_row(db, table, run_id, uid, (ordinal, *row))
    if end[0] is not None:
        ended, reason, end_text, output_off, result = end
        end_run(db, run_id, (ended, reason, end_text, output_off), result)


_STEPS: list[Callable[[sqlite3.Connection], None]] = [_to_2, _to_3, _to_4]


def statement_of_1(result: dict[str, Any], recipe_toml: str, started: str) -> dict[str, Any]:
    """A result of schema 1 as a statement: value, interval and decision as they were stated, the gate by its flags.

    What was not written down then stays unknown. A verdict that the gate does not let through stands in `decision` as
    it was stated, and no longer at the top.
    """
    recipe = tomllib.loads(recipe_toml)
    flags = [
        Flag(f["code"], f["severity"], f["text"], tuple((a, b) for a, b in f.get("where_s") or ()))
        for f in result.get("flags") or []
        if f["code"] in EFFECTS
    ]
    U = result["expanded_uncertainty_ohm"]
    # Schema 1 did not say how far R had moved, so a flag that goes by size counts as beyond U.
    validity, reasons = judge(flags, math.nan if U is None else U)
    rows = result.get("budget") or []
    instruments = {"voltmeter gain", "source current"}
    scope = "all" if instruments <= {row["name"] for row in rows} else "repeatability"
    by_readings = {key: result.get(key) for key in (*STATED_KEYS, *READING_KEYS, "state", "estimator")}
    by_readings |= {"block_deviation_ohm": None, "drift_significant": False}
    return {
        **result,
        "scope": scope,
        "validity": str(validity),
        "reasons": [_reason(reason) for reason in reasons],
        "verdict": result.get("verdict") if str(validity) == "valid" else None,
        "decision": result.get("decision"),
        "budget": rows,
        "flags": [{**f, "size_ohm": None} for f in result.get("flags") or [] if f["code"] in EFFECTS],
        "not_tested": [],
        "conditions": {
            "current_A": None,
            "temperature_C": None,
            "reference_C": None,
            "emf_order": recipe.get("emf_order", 1),
            "estimator": result.get("estimator", ""),
            "range_V": None,
            "source_range_A": None,
            "accuracy_data": "",
            "date": started[:10],
        },
        "by_readings": by_readings,
        "left_out": [],
        "final": True,
        "software": "",
    }


def _reason(reason: Reason) -> dict[str, str]:
    return {"code": reason.code, "validity": str(reason.validity), "text": reason.text}
