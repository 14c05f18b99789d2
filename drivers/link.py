"""One instrument's conversation: messages out, answers in, never a stale one.

After a time-out the late answer may still arrive and would be taken for the next one. So before the next message the
link clears, asks the instrument who it is and skips to that answer; where it does not come, it opens the wire again. It
does so no sooner, because whoever met the time-out may have a source to switch off first.
"""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable
from dataclasses import dataclass

from drivers.dialect.pattern import LONGEST_REPLY
from drivers.errors import LinkClosed, LinkError, LinkTimeout, ReplyError
from drivers.plain import shortened
from drivers.wires import SocketWire, Wire

SLICE_S = 0.1  # the longest time without a look at `on_wait`
_STALE_ANSWERS = 8
_REMEMBERED = 256
_EMPTY_LINE_S = 1e-4
_GREETING_S = 0.5


@dataclass(frozen=True, slots=True)
class Habits:
    """What an instrument needs of the one who talks to it."""

    command_gap_s: float = 0.0
    max_message_bytes: int = 0
    prompt: str = ""
    echo: bool = False
    greeting: bool = False


class _Left:
    """The seconds that are left of one query, whatever it is made of."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds

    def spend(self, seconds: float) -> None:
        """Take them off. Raises TimeoutError where nothing is left."""
        self.seconds -= seconds
        if self.seconds <= 1e-9:
            raise TimeoutError


class Link:
    """A wire with its framing. `on_wait` is called in every slice of a wait and may raise to end it;
    `on_reopen` after the wire was opened again.
    """

    def __init__(
        self,
        open_wire: Callable[[], Wire],
        resource: str,
        *,
        write_termination: str = "\n",
        timeout_s: float = 2.0,
        transcript: Callable[[str, str, str], None] | None = None,
        habits: Habits | None = None,
    ) -> None:
        self.resource = resource
        self.timeout_s = timeout_s
        self.on_wait: Callable[[], None] = lambda: None
        self.on_reopen: Callable[[], None] = lambda: None
        self._open_wire = open_wire
        self._end = write_termination
        self._transcript = transcript
        self._habits = habits or Habits()
        self._last_sent = 0.0
        self._identity = ""
        self._out_of_step = False
        self._encoded: dict[str, bytes] = {}  # a run sends the same few messages over and over
        self.identity_query = "*IDN?"
        self._wire = open_wire()
        self._hear_greeting()

    @property
    def identity(self) -> str:
        """Who the instrument said it is; empty before `identify`."""
        return self._identity

    def identify(self, query: str = "*IDN?") -> str:
        """Who the instrument is; remembered, to recognise it after a time-out."""
        self.identity_query = query
        self._identity = self.query(query) if query else ""
        return self._identity

    def write(self, message: str, *, at_once: bool = False) -> None:
        """Send one message; `at_once` even where answers are out of step, for what must not wait."""
        if self._out_of_step and not at_once:
            self._out_of_step = False
            self._resynchronise()
        if self._transcript is not None:
            self._transcript(self.resource, ">", message)
        if self._habits.command_gap_s:
            self._keep_gap()
        data = self._encoded.get(message)
        if data is None:
            if len(self._encoded) > _REMEMBERED:
                self._encoded.clear()
            data = self._encoded[message] = (message + self._end).encode("ascii")
            limit = self._habits.max_message_bytes
            if limit and len(data) > limit:
                remedy = "Raise max_message_bytes in the dialect, or set compound = false."
                problem = f"a message of {len(data)} bytes, and it takes {limit}"
                raise ReplyError(problem, resource=self.resource, command=message, remedy=remedy)
        try:
            self._wire.send(data)
            if self._habits.echo:
                self._receive(self.timeout_s)
        except LinkClosed as error:
            raise _at(error, message) from error

    def query(self, message: str, timeout_s: float | None = None) -> str:
        """Send one message and return its answer. Raises LinkTimeout."""
        self.write(message)
        return self.read(message, timeout_s)

    def query_block(self, message: str, timeout_s: float | None = None) -> bytes:
        """Send one message and return the bytes of the definite-length block that answers it (IEEE 488.2, 8.7.9)."""
        self.write(message)
        return self.read_block(message, timeout_s)

    def read_block(self, message: str, timeout_s: float | None = None) -> bytes:
        """The bytes of the block that answers what was sent; `message` is for that of an error."""
        wait_s = self.timeout_s if timeout_s is None else timeout_s
        try:
            left = _Left(wait_s)
            head = self._receive_bytes(2, left)
            digits = int(head[1:2]) if head[:1] == b"#" and head[1:2].isdigit() else 0
            length = self._receive_bytes(digits, left) if digits else b""
            if not length.isdigit() or int(length) > LONGEST_REPLY:
                self._out_of_step = True
                raise ReplyError(f"{(head + length)!r} begins no block that is taken", resource=self.resource,
                                 command=message, remedy="Correct the encoding in the dialect.")  # fmt: skip
            data = self._receive_bytes(int(length), left)
            self._sliced(self._wire.receive, left)  # the terminator after the block
        except LinkClosed as error:
            raise _at(error, message) from error
        except TimeoutError as error:
            self._out_of_step = True
            remedy = "Check the encoding in the dialect, and the instrument's error queue."
            raise LinkTimeout(
                f"no whole block within {wait_s:.3g} s", resource=self.resource, command=message, remedy=remedy
            ) from error
        if self._transcript is not None:
            self._transcript(self.resource, "<", f"a block of {len(data)} bytes")
        return data

    def read(self, command: str = "", timeout_s: float | None = None) -> str:
        """The answer to what was sent; `command` is for the message of an error."""
        wait_s = self.timeout_s if timeout_s is None else timeout_s
        try:
            answer = self._receive(wait_s)
        except LinkClosed as error:
            raise _at(error, command) from error
        except ReplyError as error:
            self._out_of_step = True
            raise ReplyError(error.problem, resource=error.resource, command=command, remedy=error.remedy) from error
        except TimeoutError as error:
            self._out_of_step = True
            remedy = "Check that the instrument knows this command, and its error queue."
            raise LinkTimeout(
                f"no answer within {wait_s:.3g} s", resource=self.resource, command=command, remedy=remedy
            ) from error
        if self._transcript is not None:
            self._transcript(self.resource, "<", answer)
        return answer

    def pause(self, seconds: float) -> None:
        """Wait for the instrument, showing life in between."""
        left = seconds
        while left > 0:
            part = min(SLICE_S, left)
            self._wire.sleep(part)
            left -= part
            if left > 0:
                self.on_wait()

    def _keep_gap(self) -> None:
        self.pause(self._last_sent + self._habits.command_gap_s - time.monotonic())
        self._last_sent = time.monotonic()

    def reopen(self) -> None:
        """Hang up and connect again."""
        self._wire.close()
        self._wire = self._open_wire()
        self._hear_greeting()
        self.on_reopen()

    def _hear_greeting(self) -> None:
        """What it says when it is connected to is no answer to anything."""
        if self._habits.greeting:
            with contextlib.suppress(TimeoutError):
                self._receive(min(_GREETING_S, self.timeout_s))

    def in_step(self) -> None:
        """Nothing was asked, so that nothing came in time is no sign of a late answer."""
        self._out_of_step = False

    def drop(self) -> None:
        """Throw away what has come unasked."""
        self._wire.clear()

    def status_byte(self) -> int:
        """Its status byte (IEEE 488.2, 11.2), past the messages. Raises LinkError where the link has none."""
        read = getattr(self._wire, "status_byte", None)
        if read is None:
            remedy = "Write another mode in [sync] of the dialect: this link carries no status byte."
            raise LinkError("no status byte", resource=self.resource, remedy=remedy)
        return int(read())

    def fileno(self) -> int | None:
        """The number of the socket in use; None where the wire is none."""
        return self._wire.fileno() if isinstance(self._wire, SocketWire) else None

    def close(self) -> None:
        """Hang up."""
        self._wire.close()

    def _receive(self, wait_s: float) -> str:
        left = _Left(wait_s)
        while True:
            text = self._sliced(self._wire.receive, left).decode("latin-1").strip("\r\n\0 ")
            if self._habits.prompt:
                text = text.removeprefix(self._habits.prompt.strip()).strip()
            if text:
                return text
            left.spend(_EMPTY_LINE_S)  # a flood of empty lines ends too

    def _receive_bytes(self, count: int, left: _Left) -> bytes:
        return self._sliced(lambda part_s: self._wire.receive_bytes(count, part_s), left)

    def _sliced(self, receive: Callable[[float], bytes], left: _Left) -> bytes:
        """Wait in slices, with a look at the orders and a beat in each. Raises TimeoutError."""
        while True:
            part_s, began = min(SLICE_S, left.seconds), time.monotonic()
            try:
                data = receive(part_s)
            except TimeoutError:
                left.spend(part_s)
                self.on_wait()
                continue
            left.seconds = max(0.0, left.seconds - (time.monotonic() - began))
            return data

    def _resynchronise(self) -> None:
        """Make sure that the next answer is the answer to the next question."""
        if not self._identity:
            if not self.identity_query:
                self.reopen()  # nothing tells a late answer from the next one
            return
        try:
            self._wire.clear()
            if self._recognised():
                return
        except LinkError:
            pass
        self.reopen()
        if not self._recognised():
            remedy = "Switch the instrument off and on, then start again."
            problem = "does not answer any more"
            raise LinkTimeout(problem, resource=self.resource, command=self.identity_query, remedy=remedy)

    def _recognised(self) -> bool:
        self.write(self.identity_query)
        for _ in range(_STALE_ANSWERS):
            try:
                if self._receive(self.timeout_s) == self._identity:
                    return True
            except TimeoutError:
                return False
        return False


def _at(error: LinkClosed, command: str) -> LinkClosed:
    """The same error with what was being done."""
    return LinkClosed(error.problem, resource=error.resource, command=command, remedy=error.remedy)


def to_whole(text: str, link: Link, command: str) -> int:
    """A whole number as an instrument writes it, perhaps with a point. Raises ReplyError."""
    value = to_float(text, link, command)
    if not (math.isfinite(value) and value == round(value)):
        remedy = "Name a dialect that says how this instrument answers."
        raise ReplyError(
            f"{shortened(text)!r} is no whole number", resource=link.resource, command=command, remedy=remedy
        )
    return round(value)


def to_float(text: str, link: Link, command: str) -> float:
    """A number as an instrument writes it. Raises ReplyError."""
    try:
        return float(text)
    except ValueError:
        raise _unread(f"{shortened(text)!r} is no number", link, command) from None


def _unread(problem: str, link: Link, command: str) -> ReplyError:
    remedy = "Name a dialect that says how this instrument answers."
    return ReplyError(problem, resource=link.resource, command=command, remedy=remedy)
