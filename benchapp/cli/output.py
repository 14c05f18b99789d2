"""Where a command writes: a file, or "-" for standard output."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

from benchapp.cli.terminal import Data, PlainText
from benchapp.files import refuse_inputs, replacing, written


@contextlib.contextmanager
def opened(target: str, option: str, inputs: Iterable[Path | None] = (), *, live: bool = False) -> Iterator[TextIO]:
    """Standard output for "-", else a file that takes its place when it is written; `live`: one that can be followed.

    Raises InputError where it cannot be written, or is one of the `inputs`.
    """
    if target == "-":
        stream: TextIO = Data(sys.stdout) if isinstance(sys.stdout, PlainText) else sys.stdout  # type: ignore[assignment]
        yield stream
        stream.flush()
    elif live:
        refuse_inputs(Path(target), option, inputs)
        with written(Path(target), option) as stream:
            yield stream
    else:
        with replacing(Path(target), option, inputs) as stream:
            yield stream
