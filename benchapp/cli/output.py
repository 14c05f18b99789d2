"""Where a command writes: a file or "-" for standard output."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import TextIO

from benchapp.errors import Fault, InputError


@contextlib.contextmanager
def opened(target: str, option: str) -> Iterator[TextIO]:
    """Standard output for "-", else the file, line by line on disk. Raises InputError where it cannot be written."""
    if target == "-":
        yield sys.stdout
        sys.stdout.flush()
        return
    try:
        stream = open(target, "w", encoding="utf-8", newline="\n", buffering=1)  # noqa: SIM115  (closed below)
    except OSError as error:
        fault = Fault(f"cannot be written: {error.strerror}", target, "Choose a path that can be written", field=option)
        raise InputError(fault) from error
    with stream:
        yield stream
