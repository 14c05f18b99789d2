"""What tells of the output wherever one looks and types: the window's edge, and Esc in every window."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QWindow
from PySide6.QtWidgets import QWidget

from benchapp.bench.output import OutputState
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted

FRAME = 2  # pixels of the edge


class EscapeWatch(QObject):
    """Sees Esc in whichever window has the keyboard, and lets it do there what it does."""

    def __init__(self, act: Callable[[], None]) -> None:
        super().__init__()
        self._act = act

    def watch(self, window: QWindow | None) -> None:
        """Watch a window that has got the keyboard; one filter, however often."""
        if window is not None:
            window.removeEventFilter(self)
            window.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Act on Esc; never swallow it."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress and event.key() == Qt.Key.Key_Escape:
            self._act()
        return False


class OutputFrame(Painted):
    """The field behind everything; its edge takes the output's colour while the output is on.

    Signals:
        first_painted: it can be seen for the first time.
    """

    first_painted = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._seen = False
        self._state = OutputState.NONE

    def set_state(self, state: OutputState) -> None:
        """The output as read."""
        if state is not self._state:
            self._state = state
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Edge, then the surface inside it."""
        with QPainter(self) as painter:
            inside = self.rect().adjusted(FRAME, FRAME, -FRAME, -FRAME)
            painter.fillRect(self.rect(), self.colour("surface"))
            if self._state is OutputState.ON:
                painter.fillRect(self.rect(), self.colour("output"))
            elif self._state is OutputState.UNKNOWN:
                pen = painter.pen()
                pen.setColor(self.colour("output"))
                pen.setWidth(2 * FRAME)
                pen.setStyle(Qt.PenStyle.DashLine)
                painter.setPen(pen)
                painter.drawRect(self.rect())
            painter.fillRect(inside, self.colour("surface"))
        if not self._seen:
            self._seen = True
            self.first_painted.emit()
