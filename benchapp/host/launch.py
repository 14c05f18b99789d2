"""A process for the next run, started before it is needed, so that a start costs no more than its set-up."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO, Any

from benchapp.errors import BenchError
from benchapp.host.cards import RunCard, under_way
from benchapp.host.codec import Codec
from benchapp.host.order import RunOrder
from benchapp.host.remote import HostLost, RemoteSession
from benchapp.paths import data_folder

ORDER_CODEC = Codec([RunOrder, RunCard])
WARM = "waiting for an order"
_WITHIN_S = 30.0  # a cold start on a slow machine
_LARGEST_LOG = 1 << 20


class StartRefused(BenchError):
    """The run's process says why it did not begin."""


class WarmHost:
    """One process that waits. `order` makes a run of it; `close` sends it away."""

    def __init__(self) -> None:
        with _log() as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "benchapp.host.process"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                start_new_session=True,  # what ends the window's group does not end the run
            )
        self._lines: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        threading.Thread(target=self._hear, name="host", daemon=True).start()

    @property
    def alive(self) -> bool:
        """Whether an order could reach it."""
        return self._process.poll() is None

    def order(self, order: RunOrder) -> RemoteSession:
        """Begin the run; we are its owner. Raises StartRefused, HostLost."""
        assert self._process.stdin is not None
        text = json.dumps(ORDER_CODEC.to_plain(order)) + "\n"
        try:
            self._process.stdin.write(text.encode())
            self._process.stdin.close()
        except OSError as error:
            raise HostLost(
                f"the process of the run has ended before it began ({error}); its log: {log_path()}"
            ) from error
        answer = self._next()
        while "warm" in answer:
            answer = self._next()
        if "card" not in answer:
            raise StartRefused(str(answer.get("fault", "the process of the run gave no answer")))
        return RemoteSession(ORDER_CODEC.from_plain(answer["card"]), owner=True)

    def close(self) -> None:
        """It leaves where it has no order; a run under way is not touched."""
        with contextlib.suppress(OSError):
            assert self._process.stdin is not None
            self._process.stdin.close()

    def _next(self) -> dict[str, Any]:
        try:
            return self._lines.get(timeout=_WITHIN_S)
        except queue.Empty:
            raise HostLost(f"the process of the run does not answer; its log: {log_path()}") from None

    def _hear(self) -> None:
        assert self._process.stdout is not None
        with contextlib.suppress(OSError, ValueError), self._process.stdout as lines:
            for line in lines:
                self._lines.put(json.loads(line))
        self._lines.put({"fault": f"the process of the run has ended; its log: {log_path()}"})
        self._process.wait()


def log_path() -> Path:
    """What the processes of runs say when something goes wrong in them."""
    return data_folder() / "host.log"


def _log() -> IO[bytes]:
    path = log_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.stat().st_size > _LARGEST_LOG:
            path.replace(path.with_suffix(".log.old"))
        return path.open("ab")
    except OSError:
        return Path(os.devnull).open("ab")


class Launcher:
    """Begins runs in processes of their own, one of which always waits; and finds those that are under way."""

    def __init__(self) -> None:
        self._warm: WarmHost | None = None

    def warm_up(self) -> None:
        """Have a process ready for the next run."""
        if self._warm is None or not self._warm.alive:
            with contextlib.suppress(OSError):
                self._warm = WarmHost()

    def begin(self, order: RunOrder) -> RemoteSession:
        """The run, begun; we are its owner. Raises BenchError."""
        self.warm_up()
        warm, self._warm = self._warm, None
        if warm is None:
            raise HostLost("no process for the run can be started")
        try:
            return warm.order(order)
        except BenchError:
            warm.close()
            raise

    def found(self) -> RemoteSession | None:
        """A run that is under way: one that nobody owns, which is ours from now on, else the last one begun."""
        sessions = []
        for card in under_way():
            with contextlib.suppress(BenchError):
                sessions.append(RemoteSession(card, owner=True))
        chosen = next((one for one in sessions if one.owner), sessions[-1] if sessions else None)
        for session in sessions:
            if session is not chosen:
                session.leave(running=True)
        return chosen

    def close(self) -> None:
        """Send away the process that waits."""
        if self._warm is not None:
            self._warm.close()
            self._warm = None
