"""Buttons and headings as the design has them: the key that does the same stands at a button's right."""

from __future__ import annotations

import html
from collections.abc import Callable

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QKeySequence, QPainter, QPaintEvent, QShortcut
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from benchapp.ui.theme import Theme, font


class KeyButton(QPushButton):
    """A button with its key. The shortcut acts only while the button can be seen and pressed.

    `typed`: whether Space and Return press it while it has the focus. Never for what starts, ends, resumes or confirms
    a run: a bar-code reader types both. `by_key` is what the shortcut does, where that is not the same as a click.
    """

    def __init__(
        self,
        theme: Theme,
        text: str,
        keys: str,
        pressed: Callable[[], object],
        parent: QWidget,
        *,
        main: bool = False,
        typed: bool = True,
        by_key: Callable[[], object] | None = None,
    ) -> None:
        super().__init__(text, parent)
        self._theme = theme
        self.typed, self._by_key = typed, by_key
        self.setProperty("main", main)
        self._keys = QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText) if keys else ""
        set_tip(self, f"{text} ({self._keys})" if keys else text)
        self.clicked.connect(pressed)
        if keys:
            shortcut = QShortcut(QKeySequence(keys), parent)
            shortcut.activated.connect(self._pressed_by_key)

    def show_keys(self, keys: str) -> None:
        """Which keys do what the button says now; they are bound elsewhere."""
        self._keys = QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText)
        set_tip(self, f"{self.text()} ({self._keys})")
        self.update()

    def _pressed_by_key(self) -> None:
        if self.isVisible() and self.isEnabled():
            (self._by_key or self.click)()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Nothing that is typed presses a button of a run."""
        if self.typed:
            super().keyPressEvent(event)
        else:
            event.ignore()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The button, then its key."""
        super().paintEvent(event)
        small = font(12)
        free = self.width() - QFontMetrics(self.font()).horizontalAdvance(self.text()) - 36
        if not self._keys or QFontMetrics(small).horizontalAdvance(self._keys) > free:
            return
        colours = self._theme.colours
        on_accent = bool(self.property("main")) and self.isEnabled()
        with QPainter(self) as painter:
            painter.setFont(small)
            painter.setPen(QColor(colours.on_accent if on_accent else colours.faint))
            area = QRect(0, 0, self.width() - 12, self.height())
            painter.drawText(area, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, self._keys)


def scrolled(inside: QWidget, name: str) -> QScrollArea:
    """A widget that may be higher than its place, on the ground of what is around it; `name` is its object name."""
    inside.setObjectName(name)
    area = QScrollArea()
    area.setWidget(inside)
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setStyleSheet(f"QScrollArea, QScrollArea > QWidget > QWidget#{name} {{ background: transparent; }}")
    return area


class Heading(QWidget):
    """A bold line with a thin rule under it."""

    def __init__(self, text: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        label = plain_label(text)
        label.setFont(font(14, bold=True))
        rule = QFrame()
        rule.setObjectName("rule")
        rule.setFixedHeight(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 6, 0, 2)
        column.setSpacing(4)
        column.addWidget(label)
        column.addWidget(rule)


def plain_label(text: str = "") -> QLabel:
    """A label whose text is never taken for markup: names, identities and errors come from outside."""
    label = QLabel(text)
    label.setTextFormat(Qt.TextFormat.PlainText)
    return label


def set_tip(widget: QWidget, text: str) -> None:
    """A tooltip whose text is never taken for markup."""
    widget.setToolTip(tip(text))


def tip(text: str) -> str:
    """A text as a tooltip takes it."""
    return f"<qt>{html.escape(text)}</qt>" if text else ""


def title(text: str) -> QLabel:
    """A stage's name."""
    label = plain_label(text)
    label.setFont(font(22, bold=True))
    return label


def faint(text: str = "") -> QLabel:
    """A note in faint ink."""
    label = plain_label(text)
    label.setProperty("role", "faint")
    return label
