"""The tolerance ruler: the interval as a bar against the limits; what decides the verdict can be read off it."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.quantity import engineering
from benchapp.ui.presentation import RulerReading, Trust
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, hatch, text_at, text_width

_SPAN = 0.33  # of the distance between the limits, on either side
_AXIS_Y = 36.0
_LEAST_BAR = 8.0


class ToleranceRuler(Painted):
    """Set `set_reading`; `scale` enlarges it for the read-out, `compact` leaves the labels out for a table."""

    def __init__(
        self, theme: Theme, *, scale: float = 1.0, compact: bool = False, parent: QWidget | None = None
    ) -> None:
        super().__init__(theme, parent)
        self._reading = RulerReading()
        self._scale = scale
        self._compact = compact
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
        return QSize(600, round((44 if self._compact else 68) * self._scale))

    def set_scale(self, scale: float) -> None:
        """So many times as large from now on."""
        self._scale = scale
        self.updateGeometry()
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Zone, axis, limits, then the bar with its tick."""
        with QPainter(self) as painter:
            painter.scale(self._scale, self._scale)
            paint_ruler(painter, self._reading, self.width() / self._scale, self.theme, labels=not self._compact)


def paint_ruler(painter: QPainter, reading: RulerReading, width: float, theme: Theme, *, labels: bool = True) -> None:
    """The ruler at the painter's origin, `width` px wide."""
    _Ruler(painter, reading, width, theme, labels).paint()


class _Ruler:
    def __init__(self, painter: QPainter, reading: RulerReading, width: float, theme: Theme, labels: bool) -> None:
        self._painter, self._r, self._width, self._labels = painter, reading, width, labels
        self._colour = theme.colours.colour
        self._left, self._right = self._span()

    def _span(self) -> tuple[float, float]:
        r = self._r
        if r.low is not None and r.high is not None:
            margin = _SPAN * (r.high - r.low)
            return r.low - margin, r.high + margin
        limit = r.high if r.high is not None else r.low
        if limit is not None and limit != 0:
            edge = limit * (1 + _SPAN)
            return (0.0, edge) if limit > 0 else (edge, 0.0)
        if math.isfinite(r.half_width) and r.half_width > 0:
            return r.estimate - 4 * r.half_width, r.estimate + 4 * r.half_width
        return -1.0, 1.0

    def _x(self, value: float) -> float:
        return (value - self._left) / (self._right - self._left) * self._width

    def paint(self) -> None:
        painter, r = self._painter, self._r
        limited = r.low is not None or r.high is not None
        if r.trust == Trust.NOT_VALID:
            self._paint_emptied()
            return
        if limited:
            left = 0.0 if r.low is None else self._x(r.low)
            right = self._width if r.high is None else self._x(r.high)
            painter.fillRect(QRectF(left, 4, right - left, _AXIS_Y - 4), self._colour("zone"))
            self._paint_guard_bands()
        painter.setPen(QPen(self._colour("line" if limited else "grid"), 1.5))
        painter.drawLine(QPointF(0, _AXIS_Y), QPointF(self._width, _AXIS_Y))
        if limited:
            self._paint_limits()
        elif self._labels:
            self._paint_unlimited()
        self._paint_interval()
        self._paint_deciding()

    def _paint_deciding(self) -> None:
        """Between the names of the limits."""
        r = self._r
        if not r.deciding or not self._labels:
            return
        left = 0.0 if r.low is None else self._x(r.low) + text_width(r.low_text, 18) / 2 + 16
        right = self._width if r.high is None else self._x(r.high) - text_width(r.high_text, 18) / 2 - 16
        text, size = r.deciding, 13.0
        while size > 11 and text_width(text, size) > right - left:
            size -= 0.5
        if text_width(text, size) > right - left:
            text = text.partition(";")[0]
        align = Qt.AlignmentFlag.AlignHCenter
        text_at(self._painter, (left + right) / 2, _AXIS_Y + 26, text, size, self._colour("ink"), align=align)

    def _paint_emptied(self) -> None:
        """Limits without a zone between them: the number has no place here."""
        r, painter = self._r, self._painter
        painter.setPen(QPen(self._colour("line"), 1.5))
        painter.drawLine(QPointF(0, _AXIS_Y), QPointF(self._width, _AXIS_Y))
        left = 0.0 if r.low is None else self._x(r.low)
        right = self._width if r.high is None else self._x(r.high)
        if r.low is not None or r.high is not None:
            pen = QPen(self._colour("line"), 1)
            pen.setDashPattern([4, 4])
            painter.setPen(pen)
            painter.drawLine(QPointF(left, 4.5), QPointF(right, 4.5))
            self._paint_limits()
        if self._labels:
            text = "no tick: this number is not that of the specimen"
            align = Qt.AlignmentFlag.AlignHCenter
            text_at(painter, (left + right) / 2, 25, text, 13, self._colour("faint"), align=align)

    def _paint_guard_bands(self) -> None:
        r = self._r
        if not (math.isfinite(r.half_width) and r.half_width > 0):
            return
        half = min(r.half_width / (self._right - self._left) * self._width, self._width)
        for value in (r.low, r.high):
            if value is not None and half >= 2:
                area = QRectF(self._x(value) - half, 4, 2 * half, _AXIS_Y - 4)
                hatch(self._painter, area.intersected(QRectF(0, 4, self._width, _AXIS_Y - 4)), self._colour("faint"))

    def _paint_limits(self) -> None:
        r, painter, ink = self._r, self._painter, self._colour("ink")
        for value, text, word, before in ((r.low, r.low_text, "low", True), (r.high, r.high_text, "high", False)):
            if value is None:
                continue
            x = self._x(value)
            painter.fillRect(QRectF(x - 3, 0, 6, _AXIS_Y + 6), self._colour("surface"))
            painter.fillRect(QRectF(x - 1, 0, 2, _AXIS_Y + 6), ink)
            if not self._labels:
                continue
            width = text_width(text, 18)
            x = min(max(x, width / 2 + 44), self._width - width / 2 - 44)
            text_at(painter, x, _AXIS_Y + 26, text, 18, ink, align=Qt.AlignmentFlag.AlignHCenter)
            side = x - width / 2 - 8 if before else x + width / 2 + 8
            align = Qt.AlignmentFlag.AlignRight if before else Qt.AlignmentFlag.AlignLeft
            text_at(painter, side, _AXIS_Y + 26, word, 13, self._colour("faint"), align=align)

    def _paint_unlimited(self) -> None:
        r = self._r
        text = "no limits in this recipe"
        if math.isfinite(r.half_width):
            text += f"; one step is ± {engineering(r.half_width, 'ohm', 2)}"
            self._painter.setPen(QPen(self._colour("line"), 1))
            for step in range(1, 8):
                x = self._width * step / 8
                self._painter.drawLine(QPointF(x, _AXIS_Y), QPointF(x, _AXIS_Y + 6))
        text_at(self._painter, 0, _AXIS_Y + 24, text, 13, self._colour("faint"))

    def _bar_colour(self) -> QColor:
        if self._r.trust == Trust.DOUBTFUL:
            return self._colour("ink")
        return self._colour({"pass": "passed", "fail": "failed"}.get(self._r.verdict, "ink"))

    def _paint_interval(self) -> None:
        r, painter = self._r, self._painter
        if not math.isfinite(r.half_width):
            return
        colour = self._bar_colour()
        left, tick, right = (self._x(v) for v in (r.estimate - r.half_width, r.estimate, r.estimate + r.half_width))
        if right < 0 or left > self._width:
            self._paint_outside(colour, to_the_left=right < 0)
            return
        left, right = max(left, 0.0), min(right, self._width)
        bar = QRectF(left, 10, max(right - left, 2.0), 12)
        painter.fillRect(bar.adjusted(-2, -2, 2, 2), self._colour("surface"))
        if r.trust in (Trust.DOUBTFUL, Trust.REPEATABILITY):
            painter.setPen(QPen(colour, 2))  # hollow: what it covers is not all, or is not to be relied on
            painter.setBrush(self._colour("zone"))
            painter.drawRect(bar.adjusted(1, 1, -1, -1))
        else:
            painter.fillRect(bar, colour)
        if not 0 <= tick <= self._width:
            return
        if bar.width() > 20:
            painter.fillRect(QRectF(tick - 3.5, 0, 7, _AXIS_Y), self._colour("surface"))
        painter.fillRect(QRectF(tick - 1.5, 0, 3, _AXIS_Y), colour)
        if bar.width() < _LEAST_BAR and self._labels and r.low is not None and r.high is not None:
            # Under the tick the bar would vanish: its size is said at its side.
            part = 2 * r.half_width / (r.high - r.low)
            text = f"U is {100 * part / 2:.2g} % of the tolerance"
            to_the_left = tick > self._width / 2
            align = Qt.AlignmentFlag.AlignRight if to_the_left else Qt.AlignmentFlag.AlignLeft
            text_at(painter, tick + (-12 if to_the_left else 12), 25, text, 13, self._colour("ink"), align=align)

    def _paint_outside(self, colour: QColor, *, to_the_left: bool) -> None:
        r, painter = self._r, self._painter
        x, inward = (2.0, 1) if to_the_left else (self._width - 2.0, -1)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        painter.drawPolygon([QPointF(x, 16), QPointF(x + inward * 14, 7), QPointF(x + inward * 14, 25)])
        limit = r.low if to_the_left else r.high
        if limit is None or not self._labels:
            return
        align = Qt.AlignmentFlag.AlignLeft if to_the_left else Qt.AlignmentFlag.AlignRight
        distance = r.estimate - limit
        text = f"{'−' if distance < 0 else '+'}{engineering(abs(distance), 'ohm', 3)}"
        text_at(painter, x + inward * 20, 21, text, 16, colour, align=align)
