"""Opening the logbook file: schema, version, durability."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

from benchapp.logbook.errors import LogbookError
from benchapp.logbook.migrations import migrate
from benchapp.paths import data_folder

SCHEMA_VERSION = 2
_PATIENCE_S = 10.0
_SCHEMA = Path(__file__).with_name("schema.sql")
_APPLICATION_ID = 0x4C4F484D


def default_path() -> Path:
    """The user's logbook, where no other is named."""
    return data_folder() / "logbook.sqlite"


def open_database(path: Path, *, create: bool) -> sqlite3.Connection:
    """Connect, with every commit on the disk before it returns (WAL, synchronous FULL). Raises LogbookError."""
    try:
        if create:
            path.parent.mkdir(parents=True, exist_ok=True)
        elif not path.is_file():
            raise LogbookError(f"{path}: there is no logbook here. Measure first, or name another with --logbook")
        connection = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
        try:
            _prepare(connection, path, create=create)
        except BaseException:
            connection.close()
            raise
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{path}: the logbook cannot be used ({error}). Name another file with --logbook") from error
    except OSError as error:
        remedy = "Name a file in a folder that can be written, with --logbook"
        raise LogbookError(f"{path}: cannot be opened ({error.strerror}). {remedy}") from error
    return connection


def _prepare(connection: sqlite3.Connection, path: Path, *, create: bool) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > SCHEMA_VERSION:
        raise LogbookError(
            f"{path}: written by a newer version (schema {version}, this one knows {SCHEMA_VERSION})."
            " Install the newer version, or name another file with --logbook"
        )
    if version == 0 and not create:
        # Another process may be about to make it; a reader must not get in its way.
        raise LogbookError(
            f"{path}: there is no logbook in this file yet. Measure first, or name another with --logbook"
        )
    if create:
        _use_write_ahead_log(connection)
    connection.execute("PRAGMA synchronous = FULL")
    if version == 0:
        _create(connection, path)
    elif version < SCHEMA_VERSION:
        migrate(connection, path, version)


def _use_write_ahead_log(connection: sqlite3.Connection) -> None:
    """SQLite does not wait for others at this one statement, so we do."""
    give_up = time.monotonic() + _PATIENCE_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError:
            if time.monotonic() > give_up:
                raise
            time.sleep(0.02)
        else:
            return


def _create(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have been first.
        if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
            if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                raise LogbookError(f"{path}: this is another program's database. Name another file with --logbook")
            for statement in _SCHEMA.read_text("utf-8").split(";\n"):
                if statement.strip():
                    connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
