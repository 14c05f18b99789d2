"""The plate at the foot of the rail: the output as read back, and the way to switch it off."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.bench.output import OutputState
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import set_tip
from benchapp.ui.widgets.painting import Painted, text_at

__all__ = ["OutputPlate", "OutputState"]


class OutputPlate(Painted):
    """Shows the state; a click orders the output off, as Esc does everywhere.

    No other key does: what a bar-code reader types ends nothing.

    Signals:
        off_wanted: the operator wants the output off.
    """

    off_wanted = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._state = OutputState.NONE
        self._current = ""
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName("OUTPUT OFF")
        set_tip(self, "Switch the source's output off (Esc)")

    @property
    def state(self) -> OutputState:
        """What is shown."""
        return self._state

    def set_state(self, state: OutputState, current: str = "", why: str = "") -> None:
        """The output as read back, and the current that is set; `why` says more."""
        set_tip(self, f"Switch the source's output off (Esc){'. ' if why else ''}{why}")
        if (state, current) != (self._state, self._current):
            self._state, self._current = state, current
            self.setAccessibleDescription(f"output {state} {current}")
            self.update()

    def sizeHint(self) -> QSize:
        """The rail's width less its margins."""
        return QSize(76, 140)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Full plate when on, outline when off, dashed when not known."""
        on, unknown = self._state is OutputState.ON, self._state is OutputState.UNKNOWN
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            area = QRectF(self.rect()).adjusted(1, 1, -1, -1)
            ink = self.colour("on_output" if on else "ink" if unknown else "faint")
            pen = QPen(self.colour("output" if on or unknown else "grid"), 2 if unknown else 1)
            if unknown:
                pen.setStyle(Qt.PenStyle.DashLine)
            painter.setPen(pen)
            painter.setBrush(self.colour("output") if on else Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(area, 3, 3)
            centre = self.width() / 2
            middle = Qt.AlignmentFlag.AlignHCenter
            text_at(painter, centre, 25, "OUTPUT", 13, ink, bold=on, align=middle)
            if unknown:
                text_at(painter, centre, 48, "NOT", 16, ink, bold=True, align=middle)
                text_at(painter, centre, 68, "KNOWN", 16, ink, bold=True, align=middle)
            else:
                text_at(painter, centre, 50, str(self._state), 22, ink, bold=on, align=middle)
                text_at(painter, centre, 72, self._current, 12, ink, align=middle)
            edge = self.colour("accent") if self.hasFocus() else ink
            painter.setPen(QPen(edge, 2 if on or self.hasFocus() else 1))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(6, 84, self.width() - 12, 50), 3, 3)
            text_at(painter, centre, 106, "OFF", 15, ink, bold=True, align=middle)
            text_at(painter, centre, 125, "Esc", 12, ink, align=middle)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A click anywhere on the plate."""
        if self.rect().contains(event.position().toPoint()):
            self.off_wanted.emit()
