"""A run for others to look at: each peer has a thread, asks for what is new, and is answered from what only grows.

So no viewer can delay the run: one that stands still just does not ask. Orders are taken from the owner alone; what
becomes of the run when its owner is gone, the recipe says.
"""

from __future__ import annotations

import contextlib
import hmac
import os
import secrets
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing.connection import Connection, Listener
from pathlib import Path
from typing import Any

from benchapp.bench.output import OutputSeen
from benchapp.events import Event, RunEnd
from benchapp.host.cards import RunCard, announced
from benchapp.host.codec import Codec
from benchapp.host.wire import ROWS_AT_ONCE, WireLost, receive, send
from benchapp.measure.snapshot import RunFacts, RunSnapshot
from benchapp.paths import runtime_folder
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.run.session import Session
from benchapp.version import VERSION

RUN_CODEC = Codec([Statement, RunSnapshot, RunFacts, Event, RunEnd, Recipe, OutputSeen])
_LAST_WORD_S = 0.5
_LONGEST_SOCKET_PATH = 90  # the system's limit is 104 to 108


class RunServer:
    """Serves one session from `start` to `close`. `holder` says to others who the owner is, where no peer is.

    `owned` tells each time whether a peer owns the run now.
    """

    def __init__(self, session: Session, holder: str, owned: Callable[[bool], None] = lambda owned: None) -> None:
        self._session, self._holder, self._owned = session, holder, owned
        self.key = secrets.token_hex(16)
        self._owner: object | None = None
        self._owner_name = holder
        self._lock = threading.Lock()
        self._peers: list[_Peer] = []
        self._listener = Listener(_socket_path(), authkey=None)
        self.address = str(self._listener.address)
        self._closed = False
        threading.Thread(target=self._accept, name="peers", daemon=True).start()

    def close(self) -> None:
        """No more peers; those there are lose the connection."""
        self._closed = True
        with contextlib.suppress(OSError):
            self._listener.close()
        # Who looks on shall hear how it ended, not only that the connection is gone.
        until = time.monotonic() + _LAST_WORD_S
        for peer in list(self._peers):
            peer.knows_the_end.wait(max(0.0, until - time.monotonic()))

    def card(self) -> RunCard:
        """How to reach it."""
        session = self._session
        dialect = session.plan.source_dialect
        return RunCard(
            self.address,
            self.key,
            os.getpid(),
            session.run_id or 0,
            session.recipe.name,
            session.plan.source,
            "scpi" if dialect is None else dialect.path or dialect.id,
            str(session.logbook),
            time.strftime("%H:%M:%S"),
            VERSION,
        )

    def _accept(self) -> None:
        while not self._closed:
            try:
                connection = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(connection,), name="peer", daemon=True).start()

    def _serve(self, connection: Connection) -> None:
        peer = _Peer(self._session)
        self._peers.append(peer)
        # A stranger's nonsense ends this thread and nothing else.
        with contextlib.suppress(WireLost, KeyError, TypeError, ValueError), connection:
            try:
                hello, _ = receive(connection)
                if not hmac.compare_digest(str(hello.get("key", "")), self.key):
                    return
                if hello.get("owner") and not self._holder:
                    self._take_over(peer, str(hello.get("name", "")))
                send(connection, self._about(peer))
                while True:
                    asked, _ = receive(connection)
                    self._obey(peer, asked["orders"])
                    head, columns = peer.answer(asked)
                    send(connection, head, columns)
                    if head["ended"]:
                        peer.knows_the_end.set()
            finally:
                peer.knows_the_end.set()
                self._peers.remove(peer)
                self._leave(peer)

    def _about(self, peer: _Peer) -> dict[str, Any]:
        session = self._session
        return {
            "recipe": RUN_CODEC.to_plain(session.recipe),
            "run_id": session.run_id,
            "logbook": str(session.logbook),
            "source": session.plan.source,
            "version": VERSION,
            "process": os.getpid(),
            "owner": self._owner is peer,
            "owner_name": self._owner_name,
        }

    def _take_over(self, peer: _Peer, name: str) -> None:
        with self._lock:
            if self._owner is None:
                self._owner, self._owner_name = peer, name
        if self._owner is peer:
            self._owned(True)

    def _leave(self, peer: _Peer) -> None:
        with self._lock:
            if self._owner is not peer:
                return
            self._owner, self._owner_name = None, ""
        if not peer.left_running and not self._session.recipe.unattended:
            self._session.control.stop("the window that began the run is gone")
        self._owned(False)

    def _obey(self, peer: _Peer, orders: list[list[str]]) -> None:
        control = self._session.control
        for kind, text in orders:
            if kind == "stop":  # an output may be switched off by everybody who sees that it is on
                control.stop(str(text))
            elif self._owner is not peer:
                continue
            elif kind == "pause":
                control.pause()
            elif kind == "resume":
                control.resume()
            elif kind == "mark":
                control.mark(str(text))
            elif kind == "leave running":
                peer.left_running = True


class _Peer:
    """What one viewer has been told so far, of all that is not counted."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.left_running = False
        self.knows_the_end = threading.Event()
        self._snapshot: object = None
        self._statements: object = None
        self._facts: object = None

    def answer(self, asked: dict[str, Any]) -> tuple[dict[str, Any], list[Any]]:
        """What is new since the counts that the viewer has."""
        session, codec = self._session, RUN_CODEC
        ended = session.ended  # asked first: what is read after the end is the last there is
        snapshot, statements, facts, output = session.snapshot, session.statements, session.facts, session.output
        shown = asked.get("shown")
        if shown is not None and shown == output.at_s:
            session.output_is_shown(output)
        readings, blocks, temperatures, cuts, events = asked["have"]
        history = session.history
        columns = [
            history.temperatures.since(temperatures),
            history.blocks.since(blocks)[:, :ROWS_AT_ONCE],
            history.readings.since(readings)[:, :ROWS_AT_ONCE],
        ]
        more = history.readings.count > readings + columns[2].shape[1]
        head: dict[str, Any] = {
            "from": asked["have"],
            "ended": ended and not more,
            "more": more,
            "cuts": history.cuts[cuts:],
            "events": [codec.to_plain(event) for event in session.events[events:]],
            "output": [str(output.state), output.at_s, time.monotonic() - output.at_s, output.text],
        }
        if snapshot is not self._snapshot and snapshot is not None:
            self._snapshot = snapshot
            head["snapshot"] = codec.to_plain(replace(snapshot, statement=None))  # it crosses by itself
        if statements is not self._statements:
            self._statements = statements
            head["statements"] = [codec.to_plain(stated) for stated in statements]
        if facts is not self._facts:
            self._facts = facts
            head["facts"] = codec.to_plain(facts)
        if ended:
            head["end"] = codec.to_plain(session.end)
        return head, columns


@contextmanager
def served(
    session: Session, holder: str, owned: Callable[[bool], None] = lambda owned: None
) -> Iterator[RunServer | None]:
    """The running session can be looked at as long as this lasts; its card says where. None where no connection can be
    offered here: the run goes on without.
    """
    try:
        server = RunServer(session, holder, owned)
    except OSError:
        yield None
        return
    try:
        with announced(server.card()):
            yield server
    finally:
        server.close()


def _socket_path() -> str | None:
    """In the user's runtime folder where the path is short enough; else the library's own choice of a private one."""
    if not hasattr(os, "getuid"):
        return None
    folder = runtime_folder() / "runs"
    path = folder / f"{os.getpid()}-{secrets.token_hex(3)}.socket"
    if len(str(path)) > _LONGEST_SOCKET_PATH:
        return str(Path(tempfile.mkdtemp(prefix="benchapp-")) / "socket")
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return str(path)
