"""The interval in words with its scope, and a bar of what its uncertainty comes from."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.presentation import ShownResult, Trust
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at, text_width

_BAR = 7
_SHADES = ("line", "faint", "grid")  # of what is not scatter, the largest first


class IntervalBox(Painted):
    """Set `show_result`: scope, interval, bar of shares, and what U comes to."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._shown: ShownResult | None = None
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("interval")

    def show_result(self, shown: ShownResult) -> None:
        """What it says."""
        if shown != self._shown:
            self._shown = shown
            self.setAccessibleDescription(f"{shown.caption}: {shown.interval}; {shown.basis}")
            self.update()

    def sizeHint(self) -> QSize:
        """Beside the number."""
        return QSize(286, 88)

    def paintEvent(self, event: QPaintEvent) -> None:
        """A thin line at the left, then the lines."""
        shown = self._shown
        with QPainter(self) as painter:
            painter.fillRect(0, 8, 1, 72, self.colour("grid"))
            if shown is None:
                return
            doubt = shown.trust in (Trust.DOUBTFUL, Trust.NOT_VALID)
            ink, faint = self.colour("ink"), self.colour("faint")
            self._line(painter, 18, shown.caption, 12, ink if shown.trust is Trust.NOT_VALID else faint)
            self._line(painter, 42, shown.interval, 18, faint if doubt else ink)
            barred = shown.trust in (Trust.ALL, Trust.REPEATABILITY, Trust.DOUBTFUL)
            if barred:
                self._bar(painter, shown)
            self._line(painter, 79 if barred else 70, shown.basis, 12, faint)

    def _line(self, painter: QPainter, baseline: float, text: str, size: float, colour: QColor) -> None:
        """Whole, smaller where it is long: a number is never cut."""
        room = self.width() - 22
        while size > 9 and text_width(text, size) > room:
            size -= 0.5
        text_at(painter, 20, baseline, text, size, colour)

    def _bar(self, painter: QPainter, shown: ShownResult) -> None:
        left, top, width = 20.0, 54.0, self.width() - 24.0
        if shown.trust is Trust.DOUBTFUL:
            painter.setPen(QPen(self.colour("line"), 1))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(left + 0.5, top + 0.5, width - 1, _BAR - 1))
            return
        if shown.trust is Trust.REPEATABILITY:
            # One piece, and an open channel for what nobody knows.
            piece = 0.3 * width
            painter.fillRect(QRectF(left, top, piece, _BAR), self.colour("accent"))
            pen = QPen(self.colour("line"), 1)
            pen.setDashPattern([3, 3])
            painter.setPen(pen)
            for y in (top + 0.5, top + _BAR - 0.5):
                painter.drawLine(QPointF(left + piece, y), QPointF(left + width, y))
            return
        x = left
        for number, (_, share) in enumerate(shown.shares):
            piece = share * width
            role = "accent" if number == 0 else _SHADES[min(number - 1, len(_SHADES) - 1)]
            if piece >= 0.5:
                painter.fillRect(QRectF(x, top, max(1.0, piece - 1), _BAR), self.colour(role))
            x += piece
