"""Verdict as mark and word; an outline and "so far" while the run goes on."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QSize
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at, verdict_mark

_ROLES = {"pass": "passed", "fail": "failed", "not-valid": "failed"}
_WORDS = {"not-valid": "NOT VALID", "doubtful": "DOUBTFUL"}


class VerdictLight(Painted):
    """Mark, word and a note."""

    def __init__(self, theme: Theme, *, scale: float = 1.0, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._scale = scale
        self._state = ("", "", True)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("verdict")

    def set_verdict(self, verdict: str, note: str, *, provisional: bool) -> None:
        """Verdict "pass", "fail" or "undecided"; "doubtful" or "not-valid" where there is none; "" without limits."""
        state = (verdict, note, provisional)
        if state != self._state:
            self._state = state
            self.setAccessibleDescription(f"{verdict or 'no verdict'}, {note}")
            self.update()

    def sizeHint(self) -> QSize:
        """Mark and word."""
        return QSize(round(300 * self._scale), round(84 * self._scale))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Mark on the left, word and note beside it."""
        verdict, note, provisional = self._state
        with QPainter(self) as painter:
            painter.scale(self._scale, self._scale)
            role = _ROLES.get(verdict, "ink" if verdict else "faint")
            colours = {"mark": self.colour(role), "surface": self.colour("surface")}
            if provisional:
                colours["outline"] = self.colour(role)
            verdict_mark(painter, QPointF(36, 44), 52, verdict, colours)
            word = _WORDS.get(verdict, verdict.upper() or "NO VERDICT")
            ink = self.colour("ink") if provisional or verdict in ("undecided", "") else self.colour(role)
            size = 26 if verdict else 18
            text_at(painter, 80, 42, word, size, ink if verdict else self.colour("faint"), bold=not provisional)
            text_at(painter, 80, 66, note, 16, self.colour("ink" if verdict == "undecided" else "faint"))
