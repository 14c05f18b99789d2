"""The rail at the left edge: the stages in the order of the work, the theme's switch, the output plate."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QPushButton, QSizePolicy, QVBoxLayout, QWidget

from benchapp.ui.theme import RAIL_WIDTH, Theme
from benchapp.ui.widgets.output_plate import OutputPlate
from benchapp.ui.widgets.painting import Painted, text_at


class StageTab(Painted):
    """One stage's place in the rail: its mark and its name."""

    def __init__(self, theme: Theme, name: str, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._name = name
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(name)

    def sizeHint(self) -> QSize:
        """As wide as the rail."""
        return QSize(RAIL_WIDTH, 76)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The stage that is shown has the surface's colour and an accent bar."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.fillRect(self.rect(), self.colour("surface"))
            painter.fillRect(0, 0, 4, self.height(), self.colour("accent"))
            ink = self.colour("ink")
            painter.setPen(QPen(ink, 2))
            for x, top in ((28, 32), (44, 33), (60, 32)):
                painter.drawLine(x, top, x, 37)
            painter.drawLine(28, 37, 60, 37)
            bar = self.colour("faint")
            painter.fillRect(QRectF(36, 20, 17, 8), bar)
            painter.fillRect(QRectF(44.5, 16, 2.5, 16), ink)
            width = self.width() / 2
            text_at(painter, width, 60, self._name, 12, ink, bold=True, align=Qt.AlignmentFlag.AlignHCenter)


class Rail(Painted):
    """Tabs above, plate below."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.setFixedWidth(RAIL_WIDTH)
        self.plate = OutputPlate(theme)
        self.theme_switch = QPushButton()
        self.theme_switch.setAccessibleName("switch between the dark and the light theme")
        self.theme_switch.setStyleSheet("QPushButton { text-align: center; padding: 0; min-height: 26px; }")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 8, 0, 8)
        column.addWidget(StageTab(theme, "Measure"))
        column.addStretch(1)
        for widget in (self.theme_switch, self.plate):
            row = QVBoxLayout()
            row.setContentsMargins(6, 0, 6, 0)
            row.addWidget(widget)
            column.addLayout(row)

    def paintEvent(self, event: QPaintEvent) -> None:
        """A raised field with a line at its right."""
        with QPainter(self) as painter:
            painter.fillRect(self.rect(), self.colour("raised"))
            painter.fillRect(self.width() - 1, 0, 1, self.height(), self.colour("grid"))
