"""A field with a few words to choose from, used like one to type in."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QWidget

from benchapp.ui.widgets.controls import set_tip


class ChoiceEdit(QComboBox):
    """An empty text is the usual word, which stands first in the list.

    Signals:
        textEdited: another word was chosen.
    """

    textEdited = Signal(str)

    def __init__(self, name: str, hint: str, words: tuple[str, ...], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        for word in words:
            self.addItem(word or hint, word)
        self.activated.connect(lambda _: self.textEdited.emit(self.text()))

    def text(self) -> str:
        """The chosen word; empty for the usual one."""
        return "" if self.currentIndex() <= 0 else str(self.currentData())

    def setText(self, text: str) -> None:
        """Choose a word; one that is not in the list is added, so that its fault can be seen."""
        index = self.findData(text.strip()) if text.strip() else 0
        if index < 0 and text.strip() != self.itemText(0):
            self.addItem(text.strip(), text.strip())
            index = self.count() - 1
        self.setCurrentIndex(max(0, index))

    def set_fault(self, fault: str) -> None:
        """Mark the field, with the reason."""
        if bool(self.property("faulty")) != bool(fault):
            self.setProperty("faulty", bool(fault))
            self.style().unpolish(self)
            self.style().polish(self)
        set_tip(self, fault)
        self.setAccessibleDescription(fault)
