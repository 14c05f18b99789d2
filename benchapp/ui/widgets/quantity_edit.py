"""A field for a value with its unit; the arrow keys step the digit under the cursor."""

from __future__ import annotations

import re
from decimal import Decimal

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit, QWidget

from benchapp.ui.widgets.controls import set_tip

_NUMBER = re.compile(r"^(\s*)([+-]?\d+(?:\.\d*)?)(.*)$", re.DOTALL)


def stepped(text: str, cursor: int, steps: int) -> tuple[str, int]:
    """`text` with the digit left of the cursor (or the first one) moved by `steps`; the text and the new cursor.

    A text without a plain number in front, and a step below zero, stay as they are.
    """
    match = _NUMBER.match(text)
    if match is None:
        return text, cursor
    lead, number, tail = match.groups()
    start = len(lead)
    index = min(max(cursor - start, 1), len(number)) - 1
    if not number[index].isdigit():
        index += 1 if index + 1 < len(number) else -1
    point = number.find(".") if "." in number else len(number)
    place = point - index - 1 if index < point else point - index
    value = Decimal(number) + steps * Decimal(1).scaleb(place)
    if value < 0 and not number.startswith("-"):
        return text, cursor
    places = len(number) - point - 1 if "." in number else 0
    changed = f"{value:.{max(0, places)}f}"
    grown = len(changed) - len(number)
    return lead + changed + tail, max(start + 1, min(cursor + grown, start + len(changed)))


class QuantityEdit(QLineEdit):
    """A line that knows its digits. Property "faulty" marks it."""

    def __init__(self, name: str, hint: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setPlaceholderText(hint)

    def set_fault(self, fault: str) -> None:
        """Mark the field, with the reason for those who hover or listen."""
        faulty = bool(fault)
        if bool(self.property("faulty")) != faulty:
            self.setProperty("faulty", faulty)
            self.style().unpolish(self)
            self.style().polish(self)
        set_tip(self, fault)
        self.setAccessibleDescription(fault)

    def set_planned(self, planned: bool) -> None:
        """Mark the field as filled by a plan."""
        if bool(self.property("planned")) != planned:
            self.setProperty("planned", planned)
            self.style().unpolish(self)
            self.style().polish(self)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and Down step; everything else is typing."""
        steps = {Qt.Key.Key_Up: 1, Qt.Key.Key_Down: -1}.get(Qt.Key(event.key()))
        if steps is None:
            super().keyPressEvent(event)
            return
        text, cursor = stepped(self.text(), self.cursorPosition(), steps)
        if text != self.text():
            self.setText(text)
            self.setCursorPosition(cursor)
