"""The result, large: certain digits in full ink and bold, doubtful ones faint and regular, in fixed slots."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.quantity import ShownNumber
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at

_DIGIT = 0.65
_POINT = 0.30
_SLOTS = 7


class BigNumber(Painted):
    """Set `show_number`, or `show_nothing` with the reason; empty slots are dashes."""

    def __init__(self, theme: Theme, size_px: float = 88, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._size = size_px
        self._number: ShownNumber | None = None
        self._slots = _SLOTS
        self._struck = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("result")

    def show_number(self, number: ShownNumber, *, struck: bool = False) -> None:
        """A value; struck out where it means nothing."""
        if (number, struck) != (self._number, self._struck):
            self._number, self._struck = number, struck
            told = f"{number.digits}({number.parenthesis}) {number.unit}"
            self.setAccessibleDescription(f"not valid: {told}" if struck else told)
            self.update()

    def show_nothing(self) -> None:
        """No value yet: dashes."""
        if self._number is not None:
            self._number = None
            self.setAccessibleDescription("no result yet")
            self.update()

    def sizeHint(self) -> QSize:
        """Room for the fixed slots, parentheses and unit."""
        return QSize(560, round(self._size * 1.08))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Digit by digit, each in its slot."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            if self._number is None:
                self._paint_dashes(painter)
            else:
                self._paint_number(painter, self._number, self._fitting(self._number))

    def _fitting(self, number: ShownNumber) -> float:
        """The size at which the whole fits; huge and tiny numbers are set smaller, never cut."""
        width = self._width(number, 1.0)
        return min(self._size, self.width() / width)

    def _width(self, number: ShownNumber, size: float) -> float:
        digits = sum(_POINT if char == "." else _DIGIT for char in number.digits)
        parenthesis = sum(_POINT if char == "." else _DIGIT for char in number.parenthesis) * 0.62 + 0.66
        return (digits + parenthesis + 0.55 * (len(number.unit) + 0.6)) * size

    def _paint_dashes(self, painter: QPainter) -> None:
        painter.setPen(QPen(self.colour("grid"), 4))
        y = self._size * 0.55
        for slot in range(_SLOTS - 2):
            x = slot * _DIGIT * self._size
            painter.drawLine(QPointF(x + 8, y), QPointF(x + _DIGIT * self._size - 8, y))

    def _paint_number(self, painter: QPainter, number: ShownNumber, size: float) -> None:
        baseline = self._size * 0.88
        x = 0.0
        ink, faint = self.colour("ink"), self.colour("faint")
        for index, char in enumerate(number.digits):
            certain = index < number.certain
            slot = (_POINT if char == "." else _DIGIT) * size
            text_at(
                painter, x + slot / 2, baseline, char, size, ink if certain else faint,
                bold=certain, align=Qt.AlignmentFlag.AlignHCenter,
            )  # fmt: skip
            x += slot
        if self._struck:
            painter.fillRect(QRectF(0, baseline - 0.36 * size, x, 0.06 * size), self.colour("failed"))
        x = self._paint_parentheses(painter, number.parenthesis, x + 0.14 * size, baseline, size)
        text_at(painter, x + 0.32 * size, baseline, number.unit, size * 0.5, ink)

    def _paint_parentheses(self, painter: QPainter, text: str, x: float, baseline: float, size: float) -> float:
        """Drawn as arcs: those of the font look like square brackets."""
        faint, small = self.colour("faint"), size * 0.62
        pen = QPen(faint, max(1.5, size * 0.045))
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        top, height, bow = baseline - small * 0.82, small * 0.95, small * 0.26
        left = QPainterPath(QPointF(x + bow / 2, top))
        left.quadTo(QPointF(x - bow / 2, top + height / 2), QPointF(x + bow / 2, top + height))
        painter.strokePath(left, pen)
        x += bow
        for char in text:
            slot = (_POINT if char == "." else _DIGIT) * small
            text_at(painter, x + slot / 2, baseline, char, small, faint, align=Qt.AlignmentFlag.AlignHCenter)
            x += slot
        right = QPainterPath(QPointF(x + bow / 2, top))
        right.quadTo(QPointF(x + bow * 1.5, top + height / 2), QPointF(x + bow / 2, top + height))
        painter.strokePath(right, pen)
        return x + bow
