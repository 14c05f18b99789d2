"""Standard output and standard error as they may be: a terminal that escapes would steer, an encoding without omega, a
reader that has gone away, a device that is full. None of it ends a run or shows a traceback.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from typing import TextIO

from drivers.plain import plain_block


class PlainText(io.TextIOBase):
    """Text for people on a stream: escapes are shown, what the stream cannot encode stands as its escape.

    `fault` is the error after which nothing more is written; a reader that went away is none.
    """

    def __init__(self, inner: TextIO) -> None:
        self._inner = inner
        self._encoding = getattr(inner, "encoding", None) or "utf-8"
        self._gone = False
        self.fault: OSError | None = None

    def write(self, text: str) -> int:
        """Write, as far as anyone still reads."""
        self._put(self._encodable(plain_block(text)))
        return len(text)

    def write_over(self, text: str) -> None:
        """Put one line in the place of the last, on a terminal."""
        self._put("\r" + self._encodable(plain_block(text)))

    def write_data(self, text: str) -> None:
        """Put data for another program, as it is: in UTF-8, whatever the terminal speaks."""
        raw = getattr(self._inner, "buffer", None)
        with self._guarded():
            if raw is None:
                self._inner.write(text)
            else:
                self._inner.flush()
                raw.write(text.encode("utf-8", "backslashreplace"))

    def flush(self) -> None:
        """Send what waits."""
        with self._guarded():
            self._inner.flush()

    def isatty(self) -> bool:
        """Whether a person sees it as it is written."""
        return self._inner.isatty()

    def fileno(self) -> int:
        """The system's number of the stream."""
        return self._inner.fileno()

    def writable(self) -> bool:
        """It is."""
        return True

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """What the stream speaks."""
        return self._encoding

    def _encodable(self, text: str) -> str:
        try:
            text.encode(self._encoding)
        except (UnicodeEncodeError, LookupError):
            return text.encode("ascii", "backslashreplace").decode("ascii")
        return text

    def _put(self, text: str) -> None:
        with self._guarded():
            self._inner.write(text)

    @contextlib.contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            if not self._gone and not isinstance(error, BrokenPipeError):
                self.fault = error
            self._gone = True
            self._let_go()

    def _let_go(self) -> None:
        """Send what would be written at the end of the program nowhere, or that would fail once more."""
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._inner.fileno())
            os.close(nowhere)


class Data(io.TextIOBase):
    """Standard output for another program."""

    def __init__(self, stream: PlainText) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write as it is."""
        self._stream.write_data(text)
        return len(text)

    def flush(self) -> None:
        """Send what waits."""
        self._stream.flush()

    def writable(self) -> bool:
        """It is."""
        return True


@contextlib.contextmanager
def plain_output() -> Iterator[PlainText]:
    """Standard output and error as PlainText, for the time of a command; yields standard output."""
    out, err = PlainText(sys.stdout), PlainText(sys.stderr)
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            yield out
        finally:
            out.flush()
            err.flush()
