"""Whether a file has exactly the tables that this program makes: what stands beside them could act on what is read."""

from __future__ import annotations

import functools
import re
import sqlite3
from pathlib import Path

from benchapp.logbook.errors import LogbookError

SCHEMA_VERSION = 4
_FOLDER = Path(__file__).with_name("schema")
_Shape = dict[str, tuple[object, ...]]
# Words that make a table act by itself, or read elsewhere. None stands in a schema of ours.
_ACTS = re.compile(r"\b(check|generated|default|collate|virtual|trigger|view)\b", re.IGNORECASE)


def statements_of(version: int) -> list[str]:
    """What makes an empty logbook of that version, statement by statement."""
    text = re.sub(r"--[^\n]*", "", (_FOLDER / f"{version}.sql").read_text("utf-8"))
    return [statement for statement in text.split(";\n") if statement.strip()]


def refuse_another_shape(db: sqlite3.Connection, path: Path, version: int) -> None:
    """Raise LogbookError where tables, views or triggers are not those of a logbook of that version."""
    found, wanted = _shape_of(db), _wanted(version)
    for name in sorted({*found, *wanted}):
        if found.get(name) != wanted.get(name):
            raise LogbookError(
                f"{path}: this is no logbook as benchapp writes it, or it is damaged: {name!r} is"
                f" {'missing' if name not in found else 'not known' if name not in wanted else 'of another kind'}."
                " Nothing was read from it. Name another file with --logbook, or a copy of this one"
            )


@functools.cache
def _wanted(version: int) -> _Shape:
    db = sqlite3.connect(":memory:")
    try:
        for statement in statements_of(version):
            db.execute(statement)
        return _shape_of(db)
    finally:
        db.close()


def _shape_of(db: sqlite3.Connection) -> _Shape:
    """By name: kind, columns, and for an index what it indexes."""
    shape: _Shape = {}
    for kind, name, sql in db.execute("SELECT type, name, sql FROM sqlite_master").fetchall():
        text = re.sub(r"--[^\n]*|\s+", " ", sql or "")
        acts = tuple(sorted(match.lower() for match in _ACTS.findall(text)))
        if kind == "table":
            columns = tuple(db.execute(f"PRAGMA table_xinfo({_quoted(name)})").fetchall())
        else:
            columns = tuple(db.execute(f"PRAGMA index_xinfo({_quoted(name)})").fetchall())
        shape[str(name)] = (kind, acts, columns)
    return shape


def _quoted(name: object) -> str:
    return '"' + str(name).replace('"', '""') + '"'
