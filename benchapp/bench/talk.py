"""A word with one instrument, line by line, within the house limits and with the output off."""

from __future__ import annotations

import contextlib
import os
from types import TracebackType
from typing import Self

from benchapp.bench.limits import HouseLimits
from benchapp.bench.locks import Locks
from benchapp.errors import Fault, InputError
from drivers.dialect import Dialect, load_dialect
from drivers.dialect.energising import numbers_of, why_it_energises
from drivers.errors import InstrumentError, LinkTimeout
from drivers.registry import make_link
from drivers.scpi_source import ScpiSource

_UNASKED_S = 0.2
_MOST_LINES = 1000


class Conversation:
    """Messages to an address and answers from it. A context, which hangs up.

    `energised`: an output went on while we talked; `told` says what became of it. `plain`: nothing is sent but what is
    said, for an instrument that knows no SCPI; then nothing is known of its output.
    """

    def __init__(
        self, address: str, dialect: Dialect, limits: HouseLimits, timeout_s: float, *, plain: bool = False
    ) -> None:
        self._plain = plain
        self._held = Locks([address])
        self._held.take(f"a conversation (process {os.getpid()})")
        try:
            self._link = make_link(address, dialect)
        except BaseException:
            self._held.release()
            raise
        self._timeout_s, self._limits = timeout_s, limits
        # Whoever talks to a voltmeter may have the address of the source: SCPI's own words are known for both.
        self._source = ScpiSource(self._link, dialect if dialect.kind == "source" else load_dialect("scpi", "source"))
        self._on_before: bool | None = None  # None where the output cannot be asked, or was not yet
        self._has_set = False
        self.energised = False
        self.told = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        self._link.close()
        self._held.release()

    def say(self, message: str) -> list[str]:
        """Send one line; all that comes back. Raises InputError, LimitExceeded, InstrumentError."""
        asks = "?" in message and not self._plain
        self._refuse(message)
        if not asks and not self._has_set:
            self._on_before, self._has_set = self._output(), True
        self._link.write(message)
        answers = [self._link.read(message, self._timeout_s)] if asks else []
        answers += self.heard(self._timeout_s if self._plain else _UNASKED_S)
        if self._on_before is False and self._output():
            self.energised = True
            off = "it was switched off" if self._source.safe() else "IT COULD NOT BE SWITCHED OFF: do it by hand"
            self.told = f"{message!r} switched the output on: {off}"
        return answers

    def heard(self, first_s: float = _UNASKED_S) -> list[str]:
        """What it says by itself: a greeting, an acknowledgement, a second line."""
        found: list[str] = []
        with contextlib.suppress(LinkTimeout):
            while len(found) < _MOST_LINES:
                found.append(self._link.read("nothing", _UNASKED_S if found else first_s))
        self._link.in_step()
        return found

    def leave(self) -> str:
        """What is to be said at the end about the output; empty where nothing is."""
        if self._plain:
            return "nothing was asked about its output: look at the instrument"
        if self._on_before and self._output():
            return "the output was on before, and is on now; benchapp off switches it off"
        return self.told

    def _refuse(self, message: str) -> None:
        if not message.isascii() or not message.isprintable():
            raise InputError(Fault("not sent: not printable ASCII", message[:80], "Write SCPI as it stands", "message"))
        if why := why_it_energises(message, self._source.dialect):
            remedy = "Use measure, or check --energise, which guard the output"
            raise InputError(Fault(f"not sent: {why}", message[:80], remedy, "message"))
        for name, number in numbers_of(message, self._source.dialect):
            scale = self._source.dialect.capabilities[name][0].scale
            self._limits.check_setting(name, abs(number) / min(scale, 1.0))

    def _output(self) -> bool | None:
        """Whether the output is on, as read; None where it does not say."""
        if self._plain:
            return None
        try:
            known = self._source.has("output") and self._source.spelling("output").get
            return self._source.get_bool("output") if known else None
        except InstrumentError:
            return None
