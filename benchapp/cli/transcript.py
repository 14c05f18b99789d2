"""The full conversation with the instruments as a file: time, address, direction, message."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from benchapp.errors import Fault, InputError
from benchapp.files import refuse_inputs
from drivers.plain import plain


class TranscriptFile:
    """A context manager; called by the links with (address, ">" or "<", message)."""

    def __init__(self, path: Path, inputs: Iterable[Path | None] = ()) -> None:
        self._path, self._inputs = path, list(inputs)
        self._start = time.monotonic()
        self._full = False

    def __enter__(self) -> TranscriptFile:
        """Raises InputError where it cannot be written, or is one of the inputs."""
        refuse_inputs(self._path, "--transcript", self._inputs)
        try:
            self._stream = self._path.open("w", encoding="utf-8", newline="\n")
        except OSError as error:
            fault = Fault(
                f"cannot be written: {error.strerror}", str(self._path), "Choose another path", "--transcript"
            )
            raise InputError(fault) from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        with contextlib.suppress(OSError):
            self._stream.close()

    def __call__(self, address: str, direction: str, message: str) -> None:
        """Write one line; where the device is full the rest is left out, and the run goes on."""
        if self._full:
            return
        line = f"{time.monotonic() - self._start:12.6f} {address} {direction} {plain(message)}\n"
        try:
            self._stream.write(line)
        except OSError as error:
            self._full = True
            print(f"benchapp: {self._path}: the transcript ends here ({error.strerror})", file=sys.stderr)
