"""A caution: a plate with its sign at the left, a title and what to do."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, text_at


class CautionPlate(Painted):
    """Set `show_caution`; it is as high as its text needs."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._title = self._text = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_caution(self, title: str, text: str) -> None:
        """What it says."""
        self._title, self._text = title, text
        self.setAccessibleName(f"caution: {title}")
        self.setAccessibleDescription(text)
        self.setFixedHeight(self.heightForWidth(self.width()))
        self.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """As high as the text is at this width."""
        self.setFixedHeight(self.heightForWidth(event.size().width()))

    def heightForWidth(self, width: int) -> int:
        """Title and wrapped text."""
        area = QRectF(0, 0, max(60, width - 84), 1000)
        flags = int(Qt.TextFlag.TextWordWrap)
        return round(QFontMetricsF(font(14)).boundingRect(area, flags, self._text).height()) + 52

    def sizeHint(self) -> QSize:
        """A usual width."""
        return QSize(480, self.heightForWidth(480))

    def paintEvent(self, event: QPaintEvent) -> None:
        """A raised box, the plate at its left, the words beside it."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            box = QRectF(self.rect()).adjusted(1, 1, -1, -1)
            painter.setPen(QPen(self.colour("line"), 1))
            painter.setBrush(self.colour("raised"))
            painter.drawRoundedRect(box, 3, 3)
            plate = QRectF(box.left(), box.top(), 48, box.height())
            painter.setPen(QPen(self.colour("on_caution"), 1.25))
            painter.setBrush(self.colour("caution"))
            painter.drawRoundedRect(plate, 3, 3)
            x, y = plate.center().x(), plate.top() + 30
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.colour("on_caution"))
            painter.drawPolygon(QPolygonF([QPointF(x, y - 12), QPointF(x - 13, y + 10), QPointF(x + 13, y + 10)]))
            text_at(painter, x, y + 7, "!", 15, self.colour("caution"), bold=True, align=Qt.AlignmentFlag.AlignHCenter)
            ink = self.colour("ink")
            text_at(painter, 66, 28, self._title, 15, ink, bold=True)
            painter.setFont(font(14))
            painter.setPen(ink)
            area = QRectF(66, 38, self.width() - 84, self.height() - 42)
            painter.drawText(area, int(Qt.TextFlag.TextWordWrap), self._text)
