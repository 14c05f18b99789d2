"""What is to be said of a run, in words: a line each, the gravest first; all of it opens on a click or by its key."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QDialog, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from benchapp.result.statement import Statement
from benchapp.ui.presentation import told_apart, words_of
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import Heading, faint, plain_label
from benchapp.ui.widgets.painting import Painted, elided, text_at

_PITCH = 24
_MOST = 4


@dataclass(frozen=True, slots=True)
class ShownFlag:
    """One flag: its heading, all of its sentences, and whether it casts doubt."""

    heading: str
    text: str
    doubt: bool


def flags_of(stated: Statement) -> list[ShownFlag]:
    """All flags of a statement, what casts doubt first."""
    reasons = [ShownFlag(words_of(one.code).heading, one.text, True) for one in stated.reasons]
    codes = {reason.code for reason in stated.reasons}
    notices = {flag.code: flag.text for flag in stated.flags if flag.code not in codes}
    return reasons + [ShownFlag(words_of(code).heading, text, False) for code, text in notices.items()]


class FlagList(Painted):
    """Set `show_flags`.

    Signals:
        opened: somebody wants to read them in full.
    """

    opened = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.flags: list[ShownFlag] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName("flags")
        self.setVisible(False)

    def show_flags(self, flags: list[ShownFlag]) -> None:
        """What is said; nothing takes the list away."""
        if flags == self.flags:
            return
        self.flags = flags
        self.setAccessibleDescription("; ".join(flag.heading for flag in flags))
        self.setFixedHeight(self.sizeHint().height())
        self.setVisible(bool(flags))
        parent = self.parentWidget()
        layout = None if parent is None else parent.layout()
        if layout is not None:
            layout.activate()  # at once: the next frame has no two texts in one place
        self.update()

    def sizeHint(self) -> QSize:
        """A line each."""
        return QSize(240, 4 + _PITCH * min(len(self.flags), _MOST))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Open all."""
        self.opened.emit()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The sign of caution where there is doubt, a dot where there is none."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            more = len(self.flags) - _MOST
            for row, flag in enumerate(self.flags[:_MOST]):
                middle = 4 + row * _PITCH + _PITCH / 2
                self._sign(painter, middle, doubt=flag.doubt)
                last = row == _MOST - 1 and more > 0
                text = f"and {more + 1} more …" if last else flag.heading
                ink = self.colour("ink" if flag.doubt else "faint")
                text_at(painter, 26, middle + 5, elided(text, self.width() - 28, 13), 13, ink)

    def _sign(self, painter: QPainter, y: float, *, doubt: bool) -> None:
        if not doubt:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.colour("faint"))
            painter.drawEllipse(QPointF(10, y), 2.5, 2.5)
            return
        painter.setPen(QPen(self.colour("on_caution"), 1))
        painter.setBrush(self.colour("caution"))
        painter.drawRect(QRectF(1, y - 9, 18, 18))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.colour("on_caution"))
        painter.drawPolygon(QPolygonF([QPointF(10, y - 6), QPointF(4, y + 5), QPointF(16, y + 5)]))


class FlagDialog(QDialog):
    """All flags with their sentences and what to do."""

    def __init__(self, flags: list[ShownFlag], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("What is said of this run")
        self.resize(620, 420)
        inside = QWidget()
        column = QVBoxLayout(inside)
        for flag in flags:
            what, remedy = told_apart(flag.text)
            column.addWidget(Heading(flag.heading))
            said = plain_label(what)
            said.setWordWrap(True)
            said.setFont(font(14))
            column.addWidget(said)
            if remedy:
                todo = faint(f"Do: {remedy}")
                todo.setWordWrap(True)
                column.addWidget(todo)
        column.addStretch(1)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setWidget(inside)
        QVBoxLayout(self).addWidget(area)
