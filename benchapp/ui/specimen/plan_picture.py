"""The plan as a picture: U against time on logarithmic axes, with one point that can be moved."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.plan.curve import Curve
from benchapp.quantity import engineering, ppm
from benchapp.result.budget import Scope
from benchapp.ui.presentation import duration_text
from benchapp.ui.specimen.planner import Foreseen
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, hatch, text_at, text_width

_LEFT, _RIGHT, _TOP, _BOTTOM = 84, 76, 58, 24
_STEPS = 1.15  # of a key
_TIMES = ((1, "1 s"), (10, "10 s"), (60, "1 min"), (600, "10 min"), (3600, "1 h"), (36000, "10 h"))
_STYLES = (Qt.PenStyle.SolidLine, Qt.PenStyle.DashLine, Qt.PenStyle.DotLine)


class PlanPicture(Painted):
    """Set `show_foreseen`.

    Signals:
        moved: to which time in s the point was moved.
    """

    moved = Signal(float)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.foreseen = Foreseen()
        self._dragged_s: float | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumHeight(190)
        self.setAccessibleName("plan: U against time")

    def sizeHint(self) -> QSize:
        """As drawn."""
        return QSize(560, 260)

    def show_foreseen(self, foreseen: Foreseen) -> None:
        """What the recipe would give, or why that is not known."""
        self.foreseen, self._dragged_s = foreseen, None
        self.setAccessibleDescription(foreseen.why or self._at_point())
        self.update()

    # The point.

    @property
    def _time_s(self) -> float:
        return self.foreseen.time_s if self._dragged_s is None else self._dragged_s

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take the point here."""
        self.mouseMoveEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Along the curve."""
        if self.foreseen.curves and event.buttons() & Qt.MouseButton.LeftButton:
            self._dragged_s = self._clamped(self._time_at(event.position().x()))
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Where it is let go it stays."""
        if self._dragged_s is not None:
            self.moved.emit(self._dragged_s)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and Right move it."""
        factor = {Qt.Key.Key_Left: 1 / _STEPS, Qt.Key.Key_Right: _STEPS}.get(Qt.Key(event.key()))
        if factor is None or not self.foreseen.curves or not math.isfinite(self._time_s):
            super().keyPressEvent(event)
            return
        self._dragged_s = self._clamped(self._time_s * factor)
        self.moved.emit(self._dragged_s)

    def _clamped(self, time_s: float) -> float:
        times = self.foreseen.curves[0].time_s
        return float(f"{min(max(time_s, float(times[0])), float(times[-1])):.3g}")

    def _at_point(self) -> str:
        time_s, curves = self._time_s, self.foreseen.curves
        if not curves or not math.isfinite(time_s):
            return "the target is not reached at this current"
        return f"± {engineering(curves[0].U_at(time_s), 'ohm', 3)} in {duration_text(time_s)}"

    # Painting.

    @property
    def _area(self) -> QRectF:
        return QRectF(_LEFT, _TOP, self.width() - _LEFT - _RIGHT, self.height() - _TOP - _BOTTOM)

    def _span(self) -> tuple[float, float, float, float]:
        curves = self.foreseen.curves
        first, last = curves[0].time_s[0], curves[0].time_s[-1]
        every = np.concatenate([curve.U_ohm for curve in curves])
        low = min(float(every.min()), curves[0].floor_ohm or math.inf)
        high = float(curves[0].U_ohm.max())
        target = self.foreseen.target_ohm
        if math.isfinite(target):
            low, high = min(low, target), max(high, target)
        return float(first), float(last), low / 1.6, high * 1.4

    def _x(self, time_s: float) -> float:
        first, last, _, _ = self._span()
        return self._area.left() + math.log(time_s / first) / math.log(last / first) * self._area.width()

    def _time_at(self, x: float) -> float:
        first, last, _, _ = self._span()
        return float(first * (last / first) ** ((x - self._area.left()) / self._area.width()))

    def _y(self, U_ohm: float) -> float:
        _, _, low, high = self._span()
        return self._area.bottom() - math.log(U_ohm / low) / math.log(high / low) * self._area.height()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Card, axes, floor, curves, target, point."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.colour("raised"))
            painter.drawRoundedRect(QRectF(self.rect()), 4, 4)
            ink, faint = self.colour("ink"), self.colour("faint")
            width = text_at(painter, 16, 26, "Plan", 14, ink, bold=True)
            seen = self.foreseen
            if not seen.curves:
                painter.setFont(font(13))
                painter.setPen(faint)
                room = QRectF(28 + width, 12, self.width() - width - 44, self.height() - 20)
                painter.drawText(room, int(Qt.TextFlag.TextWordWrap), seen.why)
                return
            note = f"U against time; noise by {seen.noise_from}"
            text_at(painter, 28 + width, 26, note, 13, faint)
            hint, right = "drag the point, or ← →", Qt.AlignmentFlag.AlignRight
            if text_width(note, 13) + text_width(hint, 13) + width + 70 < self.width():
                text_at(painter, self.width() - 16, 26, hint, 13, faint, align=right)
            scope = "all contributions" if seen.curves[0].scope is Scope.ALL else "repeatability and what is known"
            text_at(painter, 16, 48, f"± U, 95 %, {scope}", 13, faint)
            self._paint_axes(painter)
            painter.setClipRect(self._area.adjusted(-1, -1, 1, 1))
            self._paint_floor(painter, seen.curves[0])
            for curve, style in reversed(list(zip(seen.curves, _STYLES, strict=False))):
                self._paint_curve(painter, curve, style)
            painter.setClipping(False)
            self._paint_target(painter)
            self._paint_point(painter)

    def _paint_axes(self, painter: QPainter) -> None:
        first, last, low, high = self._span()
        area, faint = self._area, self.colour("faint")
        right, centre = Qt.AlignmentFlag.AlignRight, Qt.AlignmentFlag.AlignHCenter
        for time_s, text in _TIMES:
            if first <= time_s <= last:
                x = self._x(time_s)
                painter.setPen(QPen(self.colour("grid"), 1))
                painter.drawLine(QPointF(x, area.top()), QPointF(x, area.bottom()))
                text_at(painter, x, area.bottom() + 18, text, 12, faint, align=centre)
        for U in _ticks(low, high):
            y = self._y(U)
            painter.setPen(QPen(self.colour("grid"), 1))
            painter.drawLine(QPointF(area.left(), y), QPointF(area.right(), y))
            text_at(painter, area.left() - 8, y + 4, engineering(U, "ohm", 1), 12, faint, align=right)
            text_at(painter, area.right() + 8, y + 4, ppm(U, self.foreseen.nominal_ohm), 12, faint)
        painter.setPen(QPen(self.colour("line"), 1))
        painter.drawLine(area.bottomLeft(), area.topLeft())
        painter.drawLine(area.bottomLeft(), area.bottomRight())

    def _paint_floor(self, painter: QPainter, curve: Curve) -> None:
        if curve.floor_ohm <= 0:
            return
        y, area = self._y(curve.floor_ohm), self._area
        below = QRectF(area.left(), y, area.width(), max(0.0, area.bottom() - y))
        hatch(painter, below, self.colour("grid"))
        painter.setPen(QPen(self.colour("ink"), 1.25))
        painter.drawLine(below.topLeft(), below.topRight())
        told = f"floor ± {engineering(curve.floor_ohm, 'ohm', 2)}: no time goes below"
        painter.fillRect(QRectF(area.left() + 8, y + 3, text_width(told, 12) + 10, 17), self.colour("raised"))
        text_at(painter, area.left() + 13, y + 16, told, 12, self.colour("ink"))

    def _paint_curve(self, painter: QPainter, curve: Curve, style: Qt.PenStyle) -> None:
        own = style is Qt.PenStyle.SolidLine
        path = QPainterPath()
        for index, (time_s, U) in enumerate(zip(curve.time_s, curve.U_ohm, strict=True)):
            at = QPointF(self._x(float(time_s)), self._y(float(U)))
            if index == 0:
                path.moveTo(at)
            else:
                path.lineTo(at)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(self.colour("ink" if own else "faint"), 2.5 if own else 1.25, style))
        painter.drawPath(path)
        k = len(curve.time_s) * 3 // 4
        x, y = self._x(float(curve.time_s[k])) + 6, self._y(float(curve.U_ohm[k])) - 6
        role = "ink" if own else "faint"
        text_at(painter, x, max(y, self._area.top() + 12), engineering(curve.current_A, "A", 3), 13, self.colour(role),
                bold=own)  # fmt: skip

    def _paint_target(self, painter: QPainter) -> None:
        target = self.foreseen.target_ohm
        if not math.isfinite(target):
            return
        y = self._y(target)
        painter.setPen(QPen(self.colour("accent"), 2))
        painter.drawLine(QPointF(self._area.left(), y), QPointF(self._area.right(), y))
        told = f"target ± {engineering(target, 'ohm', 3)}"
        right = Qt.AlignmentFlag.AlignRight
        text_at(painter, self._area.right() - 6, y - 5, told, 13, self.colour("accent"), align=right)

    def _paint_point(self, painter: QPainter) -> None:
        time_s, curve, area = self._time_s, self.foreseen.curves[0], self._area
        told = self._at_point()
        if math.isfinite(time_s):
            inside = min(max(time_s, float(curve.time_s[0])), float(curve.time_s[-1]))
            at = QPointF(self._x(inside), self._y(curve.U_at(inside)))
            painter.setPen(QPen(self.colour("accent"), 1.5, Qt.PenStyle.DotLine))
            painter.drawLine(at, QPointF(at.x(), area.bottom()))
            painter.setPen(QPen(self.colour("accent"), 3 if self.hasFocus() else 2))
            painter.setBrush(self.colour("raised"))
            painter.drawEllipse(at, 8, 8)
            painter.setBrush(self.colour("accent"))
            painter.drawEllipse(at, 2, 2)
        else:
            at = QPointF(area.right() - 20, area.top() + 30)
        width = text_width(told, 13, bold=True) + 20
        x = min(max(at.x() + 14, area.left() + 4), area.right() - width)
        y = max(area.top() + 2, at.y() - 44)
        painter.setPen(QPen(self.colour("accent"), 1.25))
        painter.setBrush(self.colour("raised"))
        painter.drawRoundedRect(QRectF(x, y, width, 26), 3, 3)
        text_at(painter, x + 10, y + 18, told, 13, self.colour("ink"), bold=True)


def _ticks(low: float, high: float) -> list[float]:
    """Decades; with 2 and 5 where there are few."""
    steps = (1, 2, 5) if high / low < 60 else (1,)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    every = [step * 10.0**decade for decade in decades for step in steps]
    return [value for value in every if low <= value <= high]
