"""What a row of the record is known by: a SHA-256 over its table, its columns and their values, types and lengths told.

A digest finds damage. It is no proof against someone who recomputes it.
"""

from __future__ import annotations

import hashlib
import sqlite3
import struct
from typing import Any

# What a row's digest is over, beside the run's uid, in this order; `event` and `statement` know their place by ordinal.
HEAD = ("started", "owner_host", "owner_pid", "owner_started", "software", "recipe", "bench")
END = ("ended", "reason", "end_text", "output_off", "readings", "result")
COLUMNS = {
    "instrument": ("role", "identity"),
    "setting": ("role", "name", "asked", "read_back", "verified"),
    "readings": ("first", "count", "data"),
    "temperature": ("first", "count", "data"),
    "event": ("ordinal", "time_s", "reading", "kind", "text"),
    "statement": ("ordinal", "made", "body"),
}
# In which order the leaves of a run stand in its digest. Only the statement made at its end belongs to it.
_ORDER = {
    "instrument": "role",
    "setting": "role, name",
    "readings": "first",
    "event": "ordinal",
    "temperature": "first",
}


def row_digest(table: str, uid: str, columns: tuple[str, ...], values: tuple[Any, ...]) -> bytes:
    """The digest of one row: 32 bytes."""
    digest = hashlib.sha256(_told(table) + _told(uid))
    for column, value in zip(columns, values, strict=True):
        digest.update(_told(column) + _told(value))
    return digest.digest()


def run_digest(db: sqlite3.Connection, run_id: int, head: bytes, tail: bytes) -> bytes:
    """The digest of a run that has ended: of head, end and every row that belongs to it, by their digests."""
    digest = hashlib.sha256(_told("run") + _told(head) + _told(tail))
    for table, order in _ORDER.items():
        for (leaf,) in db.execute(f"SELECT digest FROM {table} WHERE run_id = ? ORDER BY {order}", (run_id,)):
            digest.update(_told(table) + _told(leaf))
    for (leaf,) in db.execute("SELECT digest FROM statement WHERE run_id = ? AND ordinal = 0", (run_id,)):
        digest.update(_told("statement") + _told(leaf))
    return digest.digest()


def _told(value: Any) -> bytes:
    """A value so that no other value, of whatever type, is told the same."""
    if value is None:
        return b"n"
    if isinstance(value, int):
        return b"i%d;" % value
    if isinstance(value, float):
        return b"d" + struct.pack("<d", value)
    kind, data = (b"b", value) if isinstance(value, bytes) else (b"s", value.encode("utf-8", "surrogatepass"))
    return b"%s%d:%s" % (kind, len(data), data)
