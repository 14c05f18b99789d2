"""The parts of a run on a scanner: name, value and verdict, the one that is connected marked."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.measure.snapshot import RunSnapshot
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import VALIDITIES, value_in_words
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, elided, text_at

_PITCH = 27
_VERDICTS = {"pass": "passed", "fail": "failed", "NOT VALID": "failed"}


class PartsTable(Painted):
    """Set `show_parts`; what does not fit is counted in the last line."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._rows: list[tuple[str, str, str]] = []
        self._connected = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("parts")

    def sizeHint(self) -> QSize:
        """As many rows as there are, and a few at least."""
        return QSize(260, _PITCH * max(6, len(self._rows)))

    @property
    def rows(self) -> list[tuple[str, str, str]]:
        """Name, value and verdict of each part, as shown."""
        return list(self._rows)

    def show_parts(self, statements: Sequence[Statement], snapshot: RunSnapshot) -> None:
        """What is stated of each, and which one is connected while the run goes on."""
        connected = "" if snapshot.end is not None else snapshot.part
        rows = [(one.part, _value(one), _word(one)) for one in statements]
        if (rows, connected) != (self._rows, self._connected):
            self._rows, self._connected = rows, connected
            self.setAccessibleDescription("; ".join(" ".join(row) for row in rows))
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A dot before the connected one; values right-aligned, verdicts in a column of their own."""
        with QPainter(self) as painter:
            ink, faint = self.colour("ink"), self.colour("faint")
            room = max(1, self.height() // _PITCH)
            fits = len(self._rows) if len(self._rows) <= room else room - 1
            right = self.width() - 78
            for index, (name, value, word) in enumerate(self._rows[:fits]):
                baseline = 20 + index * _PITCH
                if name == self._connected:
                    painter.setBrush(ink)
                    painter.setPen(Qt.PenStyle.NoPen)
                    painter.drawEllipse(QPointF(4, baseline - 5), 3, 3)
                text_at(painter, 14, baseline, elided(name, 66, 14), 14, faint)
                text_at(painter, right, baseline, value, 14, ink, align=Qt.AlignmentFlag.AlignRight)
                colour = self.colour(_VERDICTS[word]) if word in _VERDICTS else faint
                text_at(painter, right + 8, baseline, word, 13, colour)
            if fits < len(self._rows):
                text_at(painter, 14, 20 + fits * _PITCH, f"and {len(self._rows) - fits} more", 13, faint)


def _value(stated: Statement) -> str:
    return value_in_words(stated) if math.isfinite(stated.resistance_ohm) else "–"


def _word(stated: Statement) -> str:
    if stated.validity is not Validity.VALID:
        return VALIDITIES[stated.validity]
    return "standard" if stated.is_standard else str(stated.verdict or "")
