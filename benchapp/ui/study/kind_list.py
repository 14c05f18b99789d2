"""The kinds of study, each by the question that it answers."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QButtonGroup, QRadioButton, QVBoxLayout, QWidget

from benchapp.study.kinds import KINDS
from benchapp.ui.theme import font
from benchapp.ui.widgets.controls import faint


class KindList(QWidget):
    """One of them is chosen.

    Signals:
        chosen: the name of a kind.
    """

    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._buttons: dict[str, QRadioButton] = {}
        self._group = QButtonGroup(self)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        for name, kind in KINDS.items():
            button = QRadioButton(kind.question)
            button.setFont(font(15))
            button.setAccessibleDescription(kind.about)
            button.toggled.connect(self._toggled)
            self._buttons[name] = button
            self._group.addButton(button)
            about = faint(f"{name.replace('-', ' ')}: {kind.about}")
            about.setIndent(26)
            about.setWordWrap(True)
            column.addWidget(button)
            column.addWidget(about)
            column.addSpacing(6)
        column.addStretch(1)
        next(iter(self._buttons.values())).setChecked(True)

    @property
    def kind(self) -> str:
        """The chosen one."""
        return next(name for name, button in self._buttons.items() if button.isChecked())

    def choose(self, name: str) -> None:
        """Choose one."""
        self._buttons[name].setChecked(True)

    def _toggled(self, on: bool) -> None:
        if on:
            self.chosen.emit(self.kind)
