"""The run strip: the true history of the current's sign, pauses and marks, and how far the run is."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.events import Event
from benchapp.measure.snapshot import RunSnapshot
from benchapp.quantity import engineering
from benchapp.result.words import plural
from benchapp.ui.plots.time_plot import AXIS_WIDTH, SIDE_WIDTH
from benchapp.ui.presentation import duration_text
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, elided, text_at, text_width

_LEAST_PX = 3.0
_LAST = 12
_SIGNS_Y, _HALF = 26.0, 11.0


class RunStrip(Painted):
    """Set `show_view` when the shown stretch moves, and `show_run` when the run goes on."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._readings: NDArray[np.float64] = np.empty((3, 0))
        self._events: list[Event] = []
        self._view = (0.0, 1.0)
        self._current = ""
        self._snapshot: RunSnapshot | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("run strip")

    def sizeHint(self) -> QSize:
        """Signs, marks, progress."""
        return QSize(700, 96)

    def clear(self) -> None:
        """No run."""
        self._readings, self._events, self._snapshot = np.empty((3, 0)), [], None
        self.update()

    def show_view(self, start_s: float, end_s: float) -> None:
        """The stretch of time that the plots show."""
        self._view = (start_s, end_s)
        self.update()

    def show_run(self, readings: NDArray[np.float64], events: list[Event], snapshot: RunSnapshot, current: str) -> None:
        """All readings (rows time_s, current_A, voltage_V), the marks and pauses, and the snapshot."""
        self._readings, self._events, self._snapshot, self._current = readings, events, snapshot, current
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """From top to bottom: flags, signs, words, progress."""
        with QPainter(self) as painter:
            if self._snapshot is None:
                return
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            right = Qt.AlignmentFlag.AlignRight
            text_at(painter, AXIS_WIDTH - 6, _SIGNS_Y + 4, self._current, 12, self.colour("faint"), align=right)
            painter.save()
            painter.setClipRect(QRectF(AXIS_WIDTH, 0, self._width(), 44))
            self._paint_signs(painter)
            self._paint_flags(painter)
            painter.restore()
            self._paint_last(painter)
            self._paint_words(painter)
            self._paint_progress(painter, self._snapshot)

    def _width(self) -> float:
        return max(10.0, self.width() - AXIS_WIDTH - SIDE_WIDTH)

    def _x(self, time_s: float) -> float:
        start, end = self._view
        return AXIS_WIDTH + (time_s - start) / ((end - start) or 1.0) * self._width()

    def _paint_signs(self, painter: QPainter) -> None:
        times = self._readings[0]
        first = max(0, int(np.searchsorted(times, self._view[0])) - 1)
        last = min(len(times), int(np.searchsorted(times, self._view[1])) + 1)
        if last <= first:
            return
        if self._width() / (last - first) < _LEAST_PX:
            # Too many to tell apart: two solid bars say that it was reversed all the time.
            left, right = self._x(float(times[first])), self._x(float(times[last - 1]))
            painter.fillRect(QRectF(left, _SIGNS_Y - _HALF, right - left, _HALF), self.colour("positive"))
            painter.fillRect(QRectF(left, _SIGNS_Y + 1, right - left, _HALF), self.colour("negative"))
            return
        steps = np.diff(times[first:last], prepend=times[first - 1] if first else 0.0)
        usual = float(np.median(steps))
        for time_s, current, step in zip(times[first:last], self._readings[1, first:last], steps, strict=True):
            # Up to its end: half a usual step after its middle.
            length = min(float(step), 1.5 * usual)
            left, right = self._x(float(time_s) - length / 2), self._x(float(time_s) + length / 2)
            area = QRectF(left, 0, max(1.0, right - left - 0.75), _HALF)
            if current > 0:
                painter.fillRect(area.translated(0, _SIGNS_Y - _HALF), self.colour("positive"))
            elif current < 0:
                painter.fillRect(area.translated(0, _SIGNS_Y + 1), self.colour("negative"))
            else:
                painter.fillRect(QRectF(left, _SIGNS_Y - 1, area.width(), 3), self.colour("faint"))

    def _paint_last(self, painter: QPainter) -> None:
        """The last reversals as a square wave, off the time axis: what is going on right now."""
        levels = self._readings[1, -_LAST:].tolist()
        if not levels:
            return
        left = AXIS_WIDTH + self._width() + 12
        pitch = (self.width() - left - 4) / _LAST
        before: float | None = None
        for index, level in enumerate(levels):
            role = "positive" if level > 0 else "negative" if level < 0 else "faint"
            y = _SIGNS_Y - _HALF * ((level > 0) - (level < 0))
            x = left + index * pitch
            painter.setPen(QPen(self.colour("faint"), 1))
            if before is not None and before != y:
                painter.drawLine(QPointF(x, before), QPointF(x, y))
            painter.fillRect(QRectF(x, y - 1.5, pitch, 3), self.colour(role))
            before = y
        text_at(painter, left, 56, f"last {len(levels)} readings", 12, self.colour("faint"))

    def _paint_flags(self, painter: QPainter) -> None:
        for number, mark in enumerate(self._events, 1):
            x = self._x(mark.time_s)
            painter.setPen(QPen(self.colour("ink"), 1))
            painter.drawLine(QPointF(x, 0), QPointF(x, 42))
            painter.fillRect(QRectF(x, 0, 13, 13), self.colour("faint"))
            text_at(painter, x + 3, 11, str(number), 11, self.colour("surface"), bold=True)

    def _paint_words(self, painter: QPainter) -> None:
        x = float(AXIS_WIDTH)
        for number, mark in enumerate(self._events, 1):
            text = elided(f"{number} {mark.text}", 180, 13)
            if x + text_width(text, 13) > AXIS_WIDTH + self._width():
                text_at(painter, x, 56, "…", 13, self.colour("faint"))
                return
            x += text_at(painter, x, 56, text, 13, self.colour("faint")) + 24

    def _paint_progress(self, painter: QPainter, snapshot: RunSnapshot) -> None:
        done, expected = snapshot.blocks, snapshot.blocks_expected
        ink, y = self.colour("ink"), 64.0
        painter.fillRect(QRectF(AXIS_WIDTH, y, self._width(), 5), self.colour("zone"))
        if expected:
            share = min(1.0, done / expected)
            painter.fillRect(QRectF(AXIS_WIDTH, y, self._width() * share, 5), ink)
        left = f"{plural(done, 'block')}, no end planned" if expected is None else f"{done} of about {expected} blocks"
        if snapshot.end is not None:
            left = plural(done, "block")
        elif snapshot.pending:
            left += f", a pass of {plural(snapshot.pending, 'reading')} so far"
        text_at(painter, AXIS_WIDTH, y + 22, left, 14, ink)
        to_go = snapshot.time_to_go_s
        if snapshot.end is not None:
            right = f"ended after {engineering(snapshot.time_s, 's', 3)}"
        elif math.isfinite(to_go):
            right = f"about {duration_text(to_go)} to go"
        else:
            right = ""
        edge = AXIS_WIDTH + self._width()
        if text_width(left, 14) + text_width(right, 14) + 12 > self._width():
            return  # the count says more than the time where there is no room for both
        text_at(painter, edge, y + 22, right, 14, ink, align=Qt.AlignmentFlag.AlignRight)
