"""A run in another process, as a session: asked by whoever shows it, without a thread and without waiting."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import replace
from multiprocessing.connection import Client, Connection
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchapp.bench.output import OutputSeen, OutputState
from benchapp.errors import BenchError
from benchapp.events import EndReason, Event, RunEnd
from benchapp.host.cards import RunCard
from benchapp.host.serve import RUN_CODEC
from benchapp.host.wire import WireLost, receive, send
from benchapp.measure.snapshot import RunFacts, RunSnapshot
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.run.history import History
from benchapp.run.stating import headline
from benchapp.version import VERSION

_ANSWER_WITHIN_S = 0.005  # of a poll: what comes later is taken at the next one
_HELLO_WITHIN_S = 5.0
_NO_NEWS_S = 1.0
_CATCH_UP_S = 0.02


class HostLost(BenchError):
    """The run cannot be reached."""


class RemoteSession:
    """See `run.session.Session`. `poll` brings what is new; `lost` says why nothing comes any more.

    `owner` is whether orders are taken from here; `owner_name` whose they are.
    """

    def __init__(self, card: RunCard, *, owner: bool, name: str = "") -> None:
        if card.version != VERSION:
            raise HostLost(
                f"{card.in_words} was begun by version {card.version}, this is {VERSION}. Look on with that version"
            )
        connection: Connection | None = None
        try:
            connection = Client(card.address)
            send(connection, {"key": card.key, "owner": owner, "name": name or f"process {os.getpid()}"})
            if not connection.poll(_HELLO_WITHIN_S):
                raise WireLost("it does not answer")
            about, _ = receive(connection)
        except (OSError, WireLost) as error:
            if connection is not None:
                connection.close()
            raise HostLost(f"{card.in_words} cannot be reached ({error}). It may just have ended") from error
        self.card, self._connection = card, connection
        self.recipe: Recipe = RUN_CODEC.from_plain(about["recipe"])
        self.run_id: int | None = about["run_id"]
        self.logbook = Path(about["logbook"])
        self.source: str = about["source"]
        self.process: int = about["process"]
        self.owner: bool = about["owner"]
        self.owner_name: str = about["owner_name"]
        self.control = RemoteControl(self._order)
        self.history = History()
        self.events: list[Event] = []
        self.facts: RunFacts | None = None
        self.snapshot: RunSnapshot | None = None
        self.statement: Statement | None = None
        self.statements: tuple[Statement, ...] = ()
        self.end: RunEnd | None = None
        self.ended = False
        self.lost = ""
        self._output = OutputSeen.now(OutputState.UNKNOWN)
        self._output_id: float | None = None  # the host's own moment of that reading
        self._shown_id: float | None = None
        self._heard_s = time.monotonic()
        self._waiting = 0  # answers that are still to come
        self._more = False
        self.poll()

    @property
    def output(self) -> OutputSeen:
        """As the host read it; not known where nothing was heard of it for a second."""
        if self.lost or (not self.ended and time.monotonic() - self._heard_s > _NO_NEWS_S):
            text = self.lost or "no news from the run for a second"
            return OutputSeen(OutputState.UNKNOWN, self._heard_s, text)
        return self._output

    def output_is_shown(self, seen: OutputSeen) -> None:
        """Told with the next question: the host waits for it before it switches on."""
        if seen.at_s == self._output.at_s and self._shown_id != self._output_id:
            self._shown_id = self._output_id
            self._ask()

    def poll(self, within_s: float = _ANSWER_WITHIN_S) -> bool:
        """Take what has come, and ask anew; whether anything is new."""
        if self.ended:
            return False
        if not self._waiting:
            self._ask()
        news = False
        until = time.monotonic() + within_s
        while self._waiting and not self.lost:
            try:
                if not self._connection.poll(max(0.0, until - time.monotonic())):
                    break
                news = self._take(*receive(self._connection)) or news
            except (WireLost, OSError):
                self._lose()
                return True
            if not self._waiting and self._more and time.monotonic() < until + _CATCH_UP_S:
                self._ask()
        return news

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; False where it has not come in time."""
        until = None if timeout_s is None else time.monotonic() + timeout_s
        while not self.ended and (until is None or time.monotonic() < until):
            self.wait_for_change(0.05)
        return self.ended

    def wait_for_change(self, timeout_s: float) -> None:
        """Wait until something was published, or the time-out."""
        until = time.monotonic() + timeout_s
        while not self.poll(min(0.05, timeout_s)) and not self.ended and time.monotonic() < until:
            time.sleep(min(0.02, timeout_s))

    def leave(self, *, running: bool = False) -> None:
        """Hang up; `running` lets the run go on without an owner, whatever the recipe says."""
        if running and not self.ended:
            self._order("leave running", "")
        self._connection.close()
        if not self.ended:
            self.lost, self.ended = "this window does not follow it any more", True

    def _order(self, kind: str, text: str) -> None:
        if not self.ended:
            self._ask([[kind, text]])

    def _ask(self, orders: list[list[str]] | None = None) -> None:
        h = self.history
        have = [h.readings.count, h.blocks.count, h.temperatures.count, len(h.cuts), len(self.events)]
        try:
            send(self._connection, {"have": have, "orders": orders or [], "shown": self._shown_id})
        except WireLost:
            self._lose()
            return
        self._waiting += 1

    def _take(self, head: dict[str, Any], columns: list[NDArray[np.float64]]) -> bool:
        self._waiting -= 1
        self._heard_s = time.monotonic()
        self._more = bool(head["more"])
        h = self.history
        # Two questions may be on their way at once: what the first has brought is left out of the second.
        first = head["from"]
        readings = columns[2][:, h.readings.count - first[0] :]
        blocks = columns[1][:, h.blocks.count - first[1] :]
        temperatures = columns[0][:, h.temperatures.count - first[2] :]
        events = head["events"][len(self.events) - first[4] :]
        h.append(readings, blocks, head["cuts"][len(h.cuts) - first[3] :], temperatures)
        self.events.extend(RUN_CODEC.from_plain(event) for event in events)
        state, at_s, age_s, text = head["output"]
        if at_s != self._output_id:
            self._output_id = at_s
            self._output = OutputSeen(OutputState(state), self._heard_s - age_s, text)
        if "facts" in head:
            self.facts = RUN_CODEC.from_plain(head["facts"])
        if "statements" in head:
            self.statements = tuple(RUN_CODEC.from_plain(stated) for stated in head["statements"])
        if "snapshot" in head or "statements" in head:
            bare = RUN_CODEC.from_plain(head["snapshot"]) if "snapshot" in head else self.snapshot
            part = "" if bare is None else bare.part
            self.statement = headline(self.statements, part) if self.statements else None
            self.snapshot = None if bare is None else replace(bare, statement=self.statement)
        if head["ended"]:
            self.end, self.ended = RUN_CODEC.from_plain(head["end"]), True
        return bool(readings.shape[1] or events or head["ended"] or head.keys() & {"snapshot", "statements", "facts"})

    def _lose(self) -> None:
        """The process that ran it is gone: its guardian switches off, but nobody here has read that."""
        self._connection.close()
        self.lost = f"the program that ran the measurement (process {self.process}) is gone"
        text = f"{self.lost}. Its guardian switches the output off; what was read is in the logbook"
        self.end, self.ended = RunEnd(EndReason.INSTRUMENT, text, output_off=False), True


class RemoteControl:
    """See `measure.control.Control`; each order goes out at once."""

    def __init__(self, order: Callable[[str, str], None]) -> None:
        self._order = order

    def pause(self) -> None:
        """Stop reading, current to zero, until `resume`."""
        self._order("pause", "")

    def resume(self) -> None:
        """Go on after a pause."""
        self._order("resume", "")

    def mark(self, text: str) -> None:
        """Note an event at this moment of the run."""
        self._order("mark", text)

    def stop(self, why: str = "stopped by the operator") -> None:
        """End the run: output off, record closed."""
        self._order("stop", why)
