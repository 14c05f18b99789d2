"""A run told on standard error while it goes on."""

from __future__ import annotations

import sys
import time

from benchapp.cli.terminal import PlainText
from benchapp.events import EventKind
from benchapp.measure.snapshot import RunSnapshot
from benchapp.quantity import engineering
from benchapp.result.validity import Validity
from benchapp.result.words import VALIDITIES, plural, value_in_words
from benchapp.run.seen import RunSeen

_EVERY_S = 0.25  # on a terminal, one line written over and over
_EVERY_IN_A_FILE_S = 2.0


class Progress:
    """Call `show` as often as you like; it writes when there is something new and the time has come."""

    def __init__(self, session: RunSeen) -> None:
        self._session = session
        self._live = sys.stderr.isatty()
        self._last_s = 0.0
        self._events = 0
        self._width = 0

    def show(self, *, final: bool = False) -> None:
        """Write new events, and the state of the run."""
        for event in self._session.events[self._events :]:
            self._events += 1
            if event.kind in (EventKind.NOTICE, EventKind.COMPLAINT, EventKind.MARK):
                self._line(f"{event.kind}: {event.text}")
        snapshot = self._session.snapshot
        every = _EVERY_S if self._live else _EVERY_IN_A_FILE_S
        if snapshot is None or (not final and time.monotonic() - self._last_s < every):
            return
        self._last_s = time.monotonic()
        text = _in_one_line(snapshot)
        if self._live and not final:
            _over(text.ljust(self._width))
            self._width = len(text)
        else:
            self._line(text)

    def _line(self, text: str) -> None:
        if self._live and self._width:
            _over(" " * self._width)
            _over("")
            self._width = 0
        print(text, file=sys.stderr, flush=True)


def _over(text: str) -> None:
    """In the place of the last line."""
    if isinstance(sys.stderr, PlainText):
        sys.stderr.write_over(text)
        sys.stderr.flush()


def _in_one_line(snapshot: RunSnapshot) -> str:
    stated = snapshot.statement
    parts = [
        f"{snapshot.status} {snapshot.time_s:7.1f} s",
        plural(snapshot.readings, "reading"),
        plural(snapshot.blocks, "block"),
    ]
    if snapshot.part:
        parts.append(f"{snapshot.part} connected")
    if snapshot.pending:
        parts.append(f"a pass of {snapshot.pending} so far")
    if stated is not None and stated.estimate.blocks:
        gate = [] if stated.validity is Validity.VALID else [VALIDITIES[stated.validity]]
        e = stated.estimate
        name = f"{stated.part}: " if stated.part else ""
        parts += [
            *gate,
            f"{name}R = {value_in_words(stated)}",
            str(e.state),
            f"EMF {engineering(e.thermal_emf_V, 'V', 3)}",
        ]
    return "  ".join(parts)
