"""Opening a logbook to read: nothing in the file is changed, whoever wrote it, and nothing in it can take us far.

A file of an earlier version is read by way of a copy; a file on a medium that cannot be written is read as it stands.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

from benchapp.logbook.database import cannot_open, no_logbook, nothing_in_it, version_of
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.migrations import bring_up
from benchapp.logbook.shape import SCHEMA_VERSION, refuse_another_shape

_PATIENCE_S = 10.0
_LONGEST = 64 * 2**20  # bytes of one value; a run's largest group of readings is far below
_STEPS_A_CALL = 10_000


@contextlib.contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection of this version's shape. Raises LogbookError, also for what goes wrong while it is read from."""
    with contextlib.ExitStack() as stack:
        try:
            try:
                db = _ready(path, stack)
            except (OSError, ValueError) as error:
                raise cannot_open(path, error) from error
            yield db
        except sqlite3.Error as error:
            raise LogbookError(
                f"{path}: the logbook cannot be read ({error}). Name another file with --logbook, or a copy of this one"
            ) from error


def _ready(path: Path, stack: contextlib.ExitStack) -> sqlite3.Connection:
    if not path.is_file():
        raise no_logbook(path)
    db = _connected(path, stack)
    version = version_of(db, path)
    if version == 0:
        raise nothing_in_it(path)
    refuse_another_shape(db, path, version)
    return db if version == SCHEMA_VERSION else _brought_up(db, path, version, stack)


def faults_of(db: sqlite3.Connection) -> str:
    """What SQLite itself finds wrong with the file; empty where nothing is, or the file is too large to look at it."""
    pages, size = (db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    if pages * size > _LONGEST:
        return ""
    try:
        found: str = db.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        return str(error)
    return "" if found == "ok" else " ".join(found.split())


def log_beside(path: Path) -> bool:
    """Whether the file has its write-ahead log beside it, as a logbook in use has."""
    try:
        return Path(f"{path}-wal").exists()
    except (OSError, ValueError):  # a name that no system takes
        return False


def _connected(path: Path, stack: contextlib.ExitStack) -> sqlite3.Connection:
    writable = os.access(path.parent, os.W_OK) and os.access(path, os.W_OK)
    if log_beside(path):
        if not writable:
            path = _copied(path, stack)
        mode = "mode=ro"  # leaves the log as it is
    else:
        mode = "mode=rw" if writable else "mode=ro&immutable=1"
    # Percent signs: a path may hold what a URI means otherwise.
    db = sqlite3.connect(
        f"file:{quote(path.absolute().as_posix())}?{mode}", uri=True, timeout=_PATIENCE_S, isolation_level=None
    )
    stack.callback(db.close)
    _restrain(db, path.stat().st_size)
    return db


def _restrain(db: sqlite3.Connection, size: int) -> None:
    """No write, no long value, no code of the file's own, no more steps than a file of its size can need."""
    for name, value in (("query_only", "ON"), ("trusted_schema", "OFF"), ("cell_size_check", "ON")):
        db.execute(f"PRAGMA {name} = {value}")
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST)
    db.text_factory = lambda data: data.decode("utf-8", "replace")
    left = [100 + size // 1000]

    def count() -> int:
        left[0] -= 1
        return left[0] < 0

    db.set_progress_handler(count, _STEPS_A_CALL)


def _copied(path: Path, stack: contextlib.ExitStack) -> Path:
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="benchapp-")))
    for suffix in ("", "-wal"):
        shutil.copyfile(path.with_name(path.name + suffix), folder / f"copy{suffix}")
    return folder / "copy"


def _brought_up(db: sqlite3.Connection, path: Path, version: int, stack: contextlib.ExitStack) -> sqlite3.Connection:
    """A copy of an earlier version's file, brought to this version."""
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="benchapp-")))
    copy = sqlite3.connect(folder / "copy", isolation_level=None)
    stack.callback(copy.close)
    db.backup(copy)
    bring_up(copy, path, version)
    _restrain(copy, (folder / "copy").stat().st_size)
    return copy
