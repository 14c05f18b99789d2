"""The full conversation with the instruments as a file: time, address, direction, message."""

from __future__ import annotations

import time
from pathlib import Path
from types import TracebackType

from benchapp.errors import Fault, InputError


class TranscriptFile:
    """A context manager; called by the links with (address, ">" or "<", message)."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._start = time.monotonic()

    def __enter__(self) -> TranscriptFile:
        try:
            self._stream = self._path.open("w", encoding="utf-8", newline="\n")
        except OSError as error:
            fault = Fault(
                f"cannot be written: {error.strerror}", str(self._path), "Choose another path", "--transcript"
            )
            raise InputError(fault) from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        self._stream.close()

    def __call__(self, address: str, direction: str, message: str) -> None:
        """Write one line."""
        self._stream.write(f"{time.monotonic() - self._start:12.6f} {address} {direction} {message}\n")
