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
from benchapp.logbook.errors import LogbookError
from benchapp.result.json_object import READING_KEYS, STATED_KEYS
from benchapp.result.validity import EFFECTS, Reason, judge


def migrate(db: sqlite3.Connection, path: Path, version: int) -> None:
    """Step by step, each in one transaction. Raises LogbookError where the copy cannot be made."""
    _back_up(db, path, version)
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


_STEPS: list[Callable[[sqlite3.Connection], None]] = [_to_2]


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
