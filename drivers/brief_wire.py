"""A wire to an instrument that hangs up after each exchange: it is opened anew for every message."""

from __future__ import annotations

import contextlib
from collections.abc import Callable

from drivers.errors import LinkClosed
from drivers.wires import Wire

_HANGS_UP_WITHIN_S = 0.5


class BriefWire:
    """A connection a message. What was sent without a question is left behind with its connection."""

    def __init__(self, open_wire: Callable[[], Wire], address: str) -> None:
        self._open_wire, self._address = open_wire, address
        self._wire: Wire | None = open_wire()  # who is not there is told at once
        self._answering: Wire | None = None
        self._last: Wire = self._wire

    def send(self, data: bytes) -> None:
        """On a connection of its own; the first one is there already."""
        self._await_hang_up()
        wire = self._wire if self._wire is not None else self._open_wire()
        self._wire = None
        try:
            wire.send(data)
        except LinkClosed:  # it has waited for us too long
            wire.close()
            wire = self._open_wire()
            wire.send(data)
        self._answering = self._last = wire

    def receive(self, timeout_s: float) -> bytes:
        """The answer, after which the connection is done with."""
        wire = self._open_one()
        line = wire.receive(timeout_s)
        self._hang_up(wire)
        return line

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        """Part of an answer."""
        return self._open_one().receive_bytes(count, timeout_s)

    def clear(self) -> None:
        """Nothing waits on a connection that is gone."""
        self._hang_up(self._answering)

    def sleep(self, seconds: float) -> None:
        """Wait."""
        self._last.sleep(seconds)  # time passes on a connection that is gone, too

    def close(self) -> None:
        """Hang up."""
        for wire in (self._wire, self._answering):
            if wire is not None:
                wire.close()
        self._wire = self._answering = None

    def _open_one(self) -> Wire:
        if self._answering is None:
            raise LinkClosed("nothing was asked", resource=self._address, remedy="Correct hangs_up in the dialect.")
        return self._answering

    def _await_hang_up(self) -> None:
        """What was sent without a question has acted once the instrument hangs up: a quicker one would overtake it."""
        if self._answering is not None:
            with contextlib.suppress(LinkClosed, TimeoutError):
                self._answering.receive(_HANGS_UP_WITHIN_S)
        self._hang_up(self._answering)

    def _hang_up(self, wire: Wire | None) -> None:
        if wire is not None:
            wire.close()
        self._answering = None
