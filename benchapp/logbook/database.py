"""Opening the logbook file to write: schema, version, durability."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

from benchapp.logbook.errors import LogbookError
from benchapp.logbook.migrations import migrate
from benchapp.logbook.shape import SCHEMA_VERSION, refuse_another_shape, statements_of
from benchapp.paths import data_folder

_PATIENCE_S = 10.0
_APPLICATION_ID = 0x4C4F484D


def default_path() -> Path:
    """The user's logbook, where no other is named."""
    return data_folder() / "logbook.sqlite"


def open_database(path: Path, *, create: bool) -> sqlite3.Connection:
    """Connect to write, with every commit on the disk before it returns (WAL, synchronous FULL). Raises LogbookError.

    A file of an earlier version is brought to this one. To read, take `reading.opened`, which changes nothing.
    """
    try:
        if create:
            path.parent.mkdir(parents=True, exist_ok=True)
        elif not path.is_file():
            raise no_logbook(path)
        path.exists()  # a name that no system takes is told by the system, not by SQLite
        connection = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None)
        try:
            _prepare(connection, path, create=create)
        except BaseException:
            connection.close()
            raise
    except sqlite3.DatabaseError as error:
        raise LogbookError(f"{path}: the logbook cannot be used ({error}). Name another file with --logbook") from error
    except (OSError, ValueError) as error:
        raise cannot_open(path, error) from error
    return connection


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The schema's version, 0 for an empty file. Raises LogbookError where it is newer than this program."""
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if not 0 <= version <= SCHEMA_VERSION:
        raise LogbookError(
            f"{path}: written by a newer version (schema {version}, this one knows {SCHEMA_VERSION})."
            " Install the newer version, or name another file with --logbook"
        )
    return version


def no_logbook(path: Path) -> LogbookError:
    """There is no file."""
    return LogbookError(f"{path}: there is no logbook here. Measure first, or name another with --logbook")


def nothing_in_it(path: Path) -> LogbookError:
    """There is a file without tables: another process may be about to make them."""
    return LogbookError(f"{path}: there is no logbook in this file yet. Measure first, or name another with --logbook")


def cannot_open(path: Path, error: OSError | ValueError) -> LogbookError:
    """The system refuses the path."""
    why = error.strerror if isinstance(error, OSError) else str(error)
    return LogbookError(
        f"{path}: cannot be opened ({why}). Name a file in a folder that can be written, with --logbook"
    )


def _prepare(connection: sqlite3.Connection, path: Path, *, create: bool) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA trusted_schema = OFF")
    version = version_of(connection, path)
    if version == 0 and not create:
        raise nothing_in_it(path)
    if version:
        refuse_another_shape(connection, path, version)
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
            for statement in statements_of(SCHEMA_VERSION):
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
