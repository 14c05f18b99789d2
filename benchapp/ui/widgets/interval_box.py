"""The 95 % interval in words, and the state of the run under it."""

from __future__ import annotations

from PySide6.QtCore import QSize
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, elided, text_at


class IntervalBox(Painted):
    """Three lines: a caption, the interval, the state."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._lines = ("", "", "")
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("95 % interval")

    def set_lines(self, caption: str, interval: str, state: str) -> None:
        """What it says."""
        if (caption, interval, state) != self._lines:
            self._lines = (caption, interval, state)
            self.setAccessibleDescription(f"{interval}, {state}")
            self.update()

    def sizeHint(self) -> QSize:
        """Beside the number."""
        return QSize(270, 84)

    def paintEvent(self, event: QPaintEvent) -> None:
        """A thin line at the left, then the lines."""
        caption, interval, state = self._lines
        with QPainter(self) as painter:
            painter.fillRect(0, 8, 1, 68, self.colour("grid"))
            width = self.width() - 20
            text_at(painter, 20, 20, elided(caption, width, 12), 12, self.colour("faint"))
            text_at(painter, 20, 44, elided(interval, width, 17), 17, self.colour("ink"))
            text_at(painter, 20, 70, elided(state, width, 14), 14, self.colour("faint"))
