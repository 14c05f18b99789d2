"""What was found of yesterday's bench, a row each: mark, what, value, what is said of it."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, elided, text_at

_ROW = 54


@dataclass(frozen=True, slots=True)
class StartRow:
    """`mark` is good, caution, failed or waiting."""

    mark: str
    name: str
    value: str
    said: str = ""
    right: str = ""


class RowList(Painted):
    """Set `show_rows`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.rows: tuple[StartRow, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("what was found")

    def show_rows(self, rows: tuple[StartRow, ...]) -> None:
        """From top to bottom."""
        if rows != self.rows:
            self.rows = rows
            self.setAccessibleDescription("; ".join(f"{row.name}: {row.value}, {row.said}" for row in rows))
            self.setFixedHeight(self.sizeHint().height())
            self.update()

    def sizeHint(self) -> QSize:
        """As high as its rows."""
        return QSize(640, _ROW * max(1, len(self.rows)))

    def paintEvent(self, event: QPaintEvent) -> None:
        """A thin rule under each row."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            for number, row in enumerate(self.rows):
                self._paint_row(painter, row, number * _ROW)

    def _paint_row(self, painter: QPainter, row: StartRow, top: int) -> None:
        ink, faint = self.colour("ink"), self.colour("faint")
        self._paint_mark(painter, row.mark, QPointF(14, top + _ROW / 2))
        text_at(painter, 40, top + 21, row.name, 12, faint)
        text_at(painter, 40, top + 40, elided(row.value, 250, 15, bold=True), 15, ink, bold=True)
        right = self.width() - 8
        width = text_at(painter, right, top + 33, row.right, 13, faint, align=Qt.AlignmentFlag.AlignRight)
        room = QRectF(304, top + 4, right - width - 320, _ROW - 8)
        painter.setFont(font(13))
        painter.setPen(ink)
        left = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(room, int(left) | int(Qt.TextFlag.TextWordWrap), row.said)
        painter.setPen(QPen(self.colour("grid"), 1))
        painter.drawLine(0, top + _ROW - 1, self.width(), top + _ROW - 1)

    def _paint_mark(self, painter: QPainter, mark: str, at: QPointF) -> None:
        x, y = at.x(), at.y()
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if mark == "good":
            painter.setPen(QPen(self.colour("passed"), 2))
            painter.drawPolyline([QPointF(x - 6, y), QPointF(x - 2, y + 5), QPointF(x + 7, y - 6)])
        elif mark == "failed":
            painter.setPen(QPen(self.colour("failed"), 2.5))
            painter.drawLine(QPointF(x - 6, y - 6), QPointF(x + 6, y + 6))
            painter.drawLine(QPointF(x - 6, y + 6), QPointF(x + 6, y - 6))
        elif mark == "caution":
            painter.setPen(QPen(self.colour("on_caution"), 1))
            painter.setBrush(self.colour("caution"))
            painter.drawPolygon(QPolygonF([QPointF(x, y - 9), QPointF(x - 10, y + 8), QPointF(x + 10, y + 8)]))
            centre = Qt.AlignmentFlag.AlignHCenter
            text_at(painter, x, y + 6, "!", 12, self.colour("on_caution"), bold=True, align=centre)
        else:
            painter.setPen(QPen(self.colour("faint"), 1.5))
            painter.drawEllipse(at, 5, 5)
