"""The blocks of each run as a few points, read beside the window: the rows that are seen first."""

from __future__ import annotations

import threading
from collections import deque
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Qt, Signal

from benchapp.run.recorded import open_run

Floats = NDArray[np.float64]
_MOST_READINGS = 200_000
_POINTS = 46
_NOTHING = np.empty(0)


class Sparklines(QObject):
    """A run that has ended does not change: what was read of it once holds.

    Signals:
        ready: the number of a run whose points can be had now.
    """

    ready = Signal(int)
    _read = Signal(int, object)

    def __init__(self, logbook: Path, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._logbook = logbook
        self._known: dict[int, Floats] = {}
        self._wanted: deque[int] = deque()
        self._lock = threading.Lock()
        self._working = False
        self._read.connect(self._take, Qt.ConnectionType.QueuedConnection)

    def points(self, run_id: int, readings: int, *, ended: bool) -> Floats:
        """Block values from 0 to 1 in their order; empty until they are read, and where they are too many."""
        if run_id in self._known:
            return self._known[run_id]
        if ended and 0 < readings <= _MOST_READINGS:
            with self._lock:
                if run_id not in self._wanted:
                    self._wanted.append(run_id)
                if not self._working:
                    self._working = True
                    threading.Thread(target=self._work, name="sparklines", daemon=True).start()
        return _NOTHING

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._wanted:
                    self._working = False
                    return
                run_id = self._wanted.popleft()
            try:
                points = thinned(open_run(self._logbook, run_id).history.blocks.since(0)[1])
            except Exception:  # noqa: BLE001  a run that cannot be drawn keeps no other from it
                points = _NOTHING
            try:
                self._read.emit(run_id, points)
            except RuntimeError:
                return  # the window is gone

    def _take(self, run_id: int, points: Floats) -> None:
        self._known[run_id] = points
        if len(points):
            self.ready.emit(run_id)


def thinned(blocks: Floats) -> Floats:
    """At most 46 of them, each the mean of its neighbours, scaled to 0 to 1."""
    blocks = blocks[np.isfinite(blocks)]
    if len(blocks) < 2:
        return _NOTHING
    parts = np.array_split(blocks, min(_POINTS, len(blocks)))
    means = np.array([part.mean() for part in parts])
    span = float(np.ptp(means))
    return np.full(len(means), 0.5) if span <= 0 else (means - means.min()) / span
