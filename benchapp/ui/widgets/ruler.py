"""The tolerance ruler: the interval as a bar against the limits; what decides the verdict can be read off it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at, text_width

_SPAN = 0.33  # of the distance between the limits, on either side
_BAR = QRectF(0, 10, 0, 12)
_AXIS_Y = 36


@dataclass(frozen=True, slots=True)
class RulerReading:
    """All in ohm; NaN half-width: no interval yet. Limit texts as typed."""

    estimate: float = math.nan
    half_width: float = math.nan
    low: float | None = None
    high: float | None = None
    low_text: str = ""
    high_text: str = ""
    verdict: str = ""


class ToleranceRuler(Painted):
    """Set `reading`; without limits the ruler stays an empty line that says so."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._reading = RulerReading()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("tolerance ruler")

    def set_reading(self, reading: RulerReading) -> None:
        """Show another reading."""
        if reading != self._reading:
            self._reading = reading
            self.setAccessibleDescription(f"low {reading.low_text}, high {reading.high_text}, {reading.verdict}")
            self.update()

    def sizeHint(self) -> QSize:
        """One line with its labels."""
        return QSize(600, 68)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Zone, axis, limits, then the bar with its tick."""
        r = self._reading
        with QPainter(self) as painter:
            if r.low is None and r.high is None:
                painter.setPen(QPen(self.colour("grid"), 1.5))
                painter.drawLine(QPointF(0, _AXIS_Y), QPointF(self.width(), _AXIS_Y))
                text_at(painter, 0, _AXIS_Y + 20, "no limits in this recipe", 13, self.colour("faint"))
                return
            self._paint_zone(painter)
            self._paint_limits(painter)
            self._paint_interval(painter)

    def _span(self) -> tuple[float, float]:
        r = self._reading
        if r.low is not None and r.high is not None:
            margin = _SPAN * (r.high - r.low)
            return r.low - margin, r.high + margin
        limit = r.high if r.high is not None else r.low
        assert limit is not None
        return (0.0, limit * (1 + _SPAN)) if limit > 0 else (limit * (1 + _SPAN), 0.0) if limit < 0 else (-1.0, 1.0)

    def _x(self, value: float) -> float:
        left, right = self._span()
        return (value - left) / (right - left) * self.width()

    def _paint_zone(self, painter: QPainter) -> None:
        r = self._reading
        left = 0.0 if r.low is None else self._x(r.low)
        right = float(self.width()) if r.high is None else self._x(r.high)
        painter.fillRect(QRectF(left, 4, right - left, _AXIS_Y - 4), self.colour("zone"))
        painter.setPen(QPen(self.colour("line"), 1.5))
        painter.drawLine(QPointF(0, _AXIS_Y), QPointF(self.width(), _AXIS_Y))

    def _paint_limits(self, painter: QPainter) -> None:
        r, ink = self._reading, self.colour("ink")
        for value, text, word, before in ((r.low, r.low_text, "low", True), (r.high, r.high_text, "high", False)):
            if value is None:
                continue
            x = self._x(value)
            painter.fillRect(QRectF(x - 3, 0, 6, _AXIS_Y + 6), self.colour("surface"))
            painter.fillRect(QRectF(x - 1, 0, 2, _AXIS_Y + 6), ink)
            width = text_width(text, 18)
            x = min(max(x, width / 2 + 44), self.width() - width / 2 - 44)
            text_at(painter, x, _AXIS_Y + 26, text, 18, ink, align=Qt.AlignmentFlag.AlignHCenter)
            side = x - width / 2 - 8 if before else x + width / 2 + 8
            align = Qt.AlignmentFlag.AlignRight if before else Qt.AlignmentFlag.AlignLeft
            text_at(painter, side, _AXIS_Y + 26, word, 13, self.colour("faint"), align=align)

    def _bar_colour(self) -> QColor:
        return self.colour({"pass": "passed", "fail": "failed"}.get(self._reading.verdict, "ink"))

    def _paint_interval(self, painter: QPainter) -> None:
        r = self._reading
        if not math.isfinite(r.half_width):
            return
        colour = self._bar_colour()
        left, tick, right = (self._x(v) for v in (r.estimate - r.half_width, r.estimate, r.estimate + r.half_width))
        if right < 0 or left > self.width():
            self._paint_outside(painter, colour, to_the_left=right < 0)
            return
        left, right = max(left, 0.0), min(right, float(self.width()))
        bar = QRectF(left, _BAR.top(), max(right - left, 2.0), _BAR.height())
        painter.fillRect(bar.adjusted(-2, -2, 2, 2), self.colour("surface"))
        painter.fillRect(bar, colour)
        if bar.width() > 20:
            painter.fillRect(QRectF(tick - 3.5, 0, 7, _AXIS_Y), self.colour("surface"))
        painter.fillRect(QRectF(tick - 1.5, 0, 3, _AXIS_Y), colour)

    def _paint_outside(self, painter: QPainter, colour: QColor, *, to_the_left: bool) -> None:
        x, direction = (2.0, 1) if to_the_left else (self.width() - 2.0, -1)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        y = _BAR.center().y()
        painter.drawPolygon([QPointF(x, y), QPointF(x + direction * 14, y - 9), QPointF(x + direction * 14, y + 9)])
