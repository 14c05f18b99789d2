"""The result, large: certain digits in full ink and bold, doubtful ones faint and regular, in fixed slots."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.quantity import ShownNumber
from benchapp.ui.presentation import ShownResult, Trust
from benchapp.ui.theme import Colours, Theme
from benchapp.ui.widgets.painting import Painted, text_at

_DIGIT = 0.65
_POINT = 0.30
_SLOTS = 7


class BigNumber(Painted):
    """Set `show_result`; empty slots are dashes.

    Bold has to be earned by accuracy data; faint is what is in doubt; struck out by one rising rule, so that it never
    hides a minus sign, is what is not the resistance.
    """

    def __init__(self, theme: Theme, size_px: float = 88, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._size = size_px
        self._number: ShownNumber | None = None
        self._slots = _SLOTS
        self._trust = Trust.NOTHING
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("result")

    def show_result(self, shown: ShownResult) -> None:
        """A value as far as it is to be trusted; dashes where there is none."""
        number, trust = shown.number, shown.trust
        if (number, trust) == (self._number, self._trust):
            return
        self._number, self._trust = number, trust
        told = "no result yet" if number is None else f"{number.digits}({number.parenthesis}) {number.unit}"
        said = {Trust.NOT_VALID: "not valid: ", Trust.DOUBTFUL: "doubtful: "}.get(trust, "")
        self.setAccessibleDescription(f"{said}{told}")
        self.update()

    def set_size(self, size_px: float) -> None:
        """Digits of that size from now on."""
        self._size = size_px
        self.updateGeometry()
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
                size, baseline = self._fitting(self._number), self._size * 0.88
                paint_number(painter, 0.0, baseline, size, self._number, self._trust, self.theme.colours)

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


def paint_number(
    painter: QPainter, x: float, baseline: float, size: float, number: ShownNumber, trust: Trust, colours: Colours
) -> float:
    """Digits in their slots, u in drawn parentheses, unit, as far as they are to be trusted; returns the right edge."""
    left, ink, faint = x, colours.colour("ink"), colours.colour("faint")
    for index, char in enumerate(number.digits):
        certain = index < number.certain
        slot = (_POINT if char == "." else _DIGIT) * size
        text_at(
            painter, x + slot / 2, baseline, char, size, ink if certain else faint,
            bold=certain and trust is Trust.ALL, align=Qt.AlignmentFlag.AlignHCenter,
        )  # fmt: skip
        x += slot
    x = _paint_parentheses(painter, number.parenthesis, x + 0.14 * size, baseline, size, faint)
    doubt = trust in (Trust.DOUBTFUL, Trust.NOT_VALID)
    x += 0.32 * size
    x += text_at(painter, x, baseline, number.unit, size * 0.5, faint if doubt else ink)
    if trust is Trust.NOT_VALID:
        painter.setPen(QPen(ink, max(1.5, 0.045 * size)))
        painter.drawLine(QPointF(left, baseline - 0.22 * size), QPointF(x + 0.04 * size, baseline - 0.42 * size))
    return x


def _paint_parentheses(painter: QPainter, text: str, x: float, baseline: float, size: float, faint: QColor) -> float:
    """Drawn as arcs: those of the font look like square brackets."""
    small = size * 0.62
    pen = QPen(faint, max(1.0, size * 0.045))
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
