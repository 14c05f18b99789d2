"""Messages between a run and those who look at it: a JSON head and columns of floats, over a local connection.

A message names what it is; nothing in it is executed. The first one of each peer carries the key that stands in the
run's card, which only the same user can read.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
from numpy.typing import NDArray

LARGEST = 64 << 20  # bytes of a message
ROWS_AT_ONCE = 250_000  # of a column: who attaches late asks again at once
_HEAD = struct.Struct("<I")


class WireLost(Exception):
    """The other side is gone, or speaks otherwise."""


def send(connection: Connection, head: dict[str, Any], columns: Sequence[NDArray[np.float64]] = ()) -> None:
    """One message; `columns` are arrays (width, n). Raises WireLost."""
    text = json.dumps({**head, "shapes": [column.shape for column in columns]}, allow_nan=False).encode()
    parts = [_HEAD.pack(len(text)), text, *(np.ascontiguousarray(column, "<f8").tobytes() for column in columns)]
    try:
        connection.send_bytes(b"".join(parts))
    except (OSError, ValueError) as error:
        raise WireLost(str(error)) from error


def receive(connection: Connection) -> tuple[dict[str, Any], list[NDArray[np.float64]]]:
    """The next message; waits for it. Raises WireLost."""
    try:
        message = connection.recv_bytes(LARGEST)
        (length,) = _HEAD.unpack_from(message)
        at = _HEAD.size + length
        head = json.loads(message[_HEAD.size : at])
        columns = []
        for width, count in head.pop("shapes"):
            flat = np.frombuffer(message, "<f8", width * count, at)
            columns.append(flat.reshape(width, count))
            at += 8 * width * count
    except (EOFError, OSError, ValueError, TypeError, KeyError, struct.error, RecursionError) as error:
        raise WireLost(str(error) or "the connection was closed") from error
    if not isinstance(head, dict):
        raise WireLost("not a message")
    return head, columns
