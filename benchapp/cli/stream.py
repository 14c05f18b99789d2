"""Readings as JSON lines the moment they count as shown; from a thread of its own, so a slow reader delays nothing."""

from __future__ import annotations

import contextlib
import json
import threading

from benchapp.cli.output import opened
from benchapp.run.session import Session


class ReadingStream:
    """A context manager around a run; what is left is written before it ends. A reader that goes away ends it,
    and so does a full device: the record has them all.
    """

    def __init__(self, session: Session, target: str) -> None:
        self._session = session
        self._target = target
        self._done = threading.Event()
        # A daemon: a reader that neither reads nor goes away must not keep the program.
        self._thread = threading.Thread(target=self._follow, name="stream", daemon=True)

    def __enter__(self) -> ReadingStream:
        self._stack = contextlib.ExitStack()
        self._stream = self._stack.enter_context(opened(self._target, "--stream", [self._session.logbook], live=True))
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        self._thread.join(5.0)
        with contextlib.suppress(OSError):
            self._stack.close()

    def _follow(self) -> None:
        written = 0
        with contextlib.suppress(OSError):
            while True:
                last_round = self._done.is_set()
                rows = self._session.history.readings.since(written)
                lines = [
                    json.dumps({"index": index, "time_s": t, "current_A": i, "voltage_V": v})
                    for index, (t, i, v) in enumerate(rows.T.tolist(), written)
                ]
                if lines:
                    self._stream.write("\n".join(lines) + "\n")
                    self._stream.flush()
                    written += len(lines)
                elif last_round:
                    return
                else:
                    self._session.wait_for_change(0.05)
