"""Files that take their place when all of them is written: nothing is lost by a target that was named by mistake."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

from benchapp.errors import Fault, InputError


@contextlib.contextmanager
def replacing(path: Path, field: str, inputs: Iterable[Path | None] = ()) -> Iterator[TextIO]:
    """A text file, renamed to `path` once it is written; where nothing was written, or it fails, `path` stays.

    `field` is what messages call it. Raises InputError where it cannot be written, or is one of the `inputs`.
    """
    refuse_inputs(path, field, inputs)
    path = Path(os.path.realpath(path))
    try:
        device = path.exists() and not path.is_file()
    except OSError as error:
        raise _cannot(path, field, error) from error
    if device:
        try:
            with written(path, field) as stream:  # a device or a pipe has no other beside it
                yield stream
        except OSError as error:
            raise _cannot(path, field, error) from error
        return
    beside = path.with_name(f".{path.name[:100]}.{os.getpid()}.part")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as stream:
            yield stream
        if beside.stat().st_size:
            beside.replace(path)
    except OSError as error:
        raise _cannot(path, field, error) from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)


def refuse_inputs(path: Path, field: str, inputs: Iterable[Path | None]) -> None:
    """Raise InputError where the target is a file that is read."""
    for source in inputs:
        if source is not None and _same(path, source):
            raise InputError(Fault("is what is read: it would be lost", str(path), "Name another file", field=field))


def written(path: Path, field: str) -> TextIO:
    """The file itself, line by line on disk. Raises InputError."""
    try:
        return path.open("w", encoding="utf-8", newline="\n", buffering=1)
    except OSError as error:
        raise _cannot(path, field, error) from error


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except OSError:
        return path.absolute() == other.absolute()


def _cannot(path: Path, field: str, error: OSError) -> InputError:
    problem = f"cannot be written: {error.strerror}"
    return InputError(Fault(problem, str(path), "Choose a path that can be written", field=field))
