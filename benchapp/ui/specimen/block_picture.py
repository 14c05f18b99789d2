"""One block as a picture: the current against time, where it settles and where it is read."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.plan.prediction import Prediction, Stretch
from benchapp.quantity import engineering
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, hatch, text_at

_LEFT, _RIGHT, _TOP, _HEIGHT = 92, 24, 44, 60
_CANCELS = {0: "a constant EMF cancels", 1: "a steady drift of the EMF cancels", 2: "a curved drift of the EMF cancels"}


class BlockPicture(Painted):
    """Set `show_prediction`; without one it says what is missing."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._prediction: Prediction | None = None
        self._current_A = 0.0
        self._order = 1
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("picture of one block")

    def sizeHint(self) -> QSize:
        """As drawn."""
        return QSize(560, 166)

    def show_prediction(self, prediction: Prediction | None, current_A: float = 0.0, emf_order: int = 1) -> None:
        """The block to draw."""
        self._prediction, self._current_A, self._order = prediction, current_A, emf_order
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Axis and stretches, then what the colours mean."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.colour("raised"))
            painter.drawRoundedRect(QRectF(self.rect()), 4, 4)
            p = self._prediction
            if p is None or not p.block:
                text = "One block" if p is None else "This sequence closes no block"
                text_at(painter, 16, 28, text, 14, self.colour("ink"), bold=True)
                hint = "appears when the values are complete" if p is None else "reverse the current more often"
                text_at(painter, 16, 60, hint, 13, self.colour("faint"))
                return
            text_at(painter, 16, 28, f"One block, {engineering(p.block_s, 's', 3)}", 14, self.colour("ink"), bold=True)
            right = Qt.AlignmentFlag.AlignRight
            note = f"{len(p.block)} readings, {_CANCELS[self._order]}"
            text_at(painter, self.width() - 16, 28, note, 13, self.colour("faint"), align=right)
            self._paint_axis(painter)
            for stretch in p.block:
                self._paint_stretch(painter, stretch)
            self._paint_staircase(painter, p.block)
            self._paint_key(painter)

    def _x(self, time_s: float) -> float:
        assert self._prediction is not None
        return _LEFT + time_s / self._prediction.block_s * (self.width() - _LEFT - _RIGHT)

    def _y(self, level_A: float) -> float:
        return _TOP + _HEIGHT / 2 * (1 - level_A / self._current_A)

    def _paint_axis(self, painter: QPainter) -> None:
        assert self._prediction is not None
        right = Qt.AlignmentFlag.AlignRight
        current = engineering(self._current_A, "A", 4)
        for level, text in ((self._current_A, f"+{current}"), (0.0, "0"), (-self._current_A, f"−{current}")):
            y = self._y(level)
            painter.setPen(QPen(self.colour("grid"), 1))
            painter.drawLine(QPointF(_LEFT, y), QPointF(self.width() - _RIGHT, y))
            text_at(painter, _LEFT - 10, y + 4, text, 12, self.colour("faint"), align=right)
        for k in range(5):
            time_s = self._prediction.block_s * k / 4
            x = self._x(time_s)
            align = right if k == 4 else Qt.AlignmentFlag.AlignHCenter
            text = engineering(time_s, "s", 3) if k else "0"
            text_at(painter, x, _TOP + _HEIGHT + 24, text, 12, self.colour("faint"), align=align)

    def _paint_stretch(self, painter: QPainter, stretch: Stretch) -> None:
        zero, level = self._y(0.0), self._y(stretch.level_A)
        top, bottom = min(zero, level), max(zero, level)
        if top == bottom:
            top, bottom = zero - 6, zero + 6
        start, settled, end = (self._x(t) for t in (stretch.start_s, stretch.settled_s, stretch.end_s))
        if settled > start:
            hatch(painter, QRectF(start, top, settled - start, bottom - top), self.colour("faint"))
        painter.fillRect(QRectF(settled, top, end - settled, bottom - top), self.colour("band"))
        sign = "+" if stretch.level_A > 0 else "−" if stretch.level_A < 0 else "0"
        role = "positive" if stretch.level_A > 0 else "negative" if stretch.level_A < 0 else "ink"
        centre = Qt.AlignmentFlag.AlignHCenter
        if end - settled > 12:
            y = (top + bottom) / 2 + 5
            text_at(painter, (settled + end) / 2, y, sign, 15, self.colour(role), bold=True, align=centre)

    def _paint_staircase(self, painter: QPainter, block: tuple[Stretch, ...]) -> None:
        before = 0.0
        for stretch in block:
            x, y, end = self._x(stretch.start_s), self._y(stretch.level_A), self._x(stretch.end_s)
            painter.setPen(QPen(self.colour("ink"), 1.25))
            if stretch.level_A != before:
                painter.drawLine(QPointF(x, self._y(before)), QPointF(x, y))
            role = "positive" if stretch.level_A > 0 else "negative" if stretch.level_A < 0 else "ink"
            painter.setPen(QPen(self.colour(role), 3))
            painter.drawLine(QPointF(x, y), QPointF(end, y))
            before = stretch.level_A

    def _paint_key(self, painter: QPainter) -> None:
        y = _TOP + _HEIGHT + 36
        hatch(painter, QRectF(_LEFT, y, 14, 14), self.colour("faint"))
        text_at(painter, _LEFT + 22, y + 12, "settling", 13, self.colour("faint"))
        painter.fillRect(QRectF(_LEFT + 110, y, 14, 14), self.colour("band"))
        text_at(painter, _LEFT + 132, y + 12, "one reading", 13, self.colour("faint"))
