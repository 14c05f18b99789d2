"""Verdict as mark and word, on a plate where it must not be taken for one."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.presentation import ShownResult, Trust
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at, text_width, verdict_mark

_ROLES = {"pass": "passed", "fail": "failed"}
_STRIP = 8


class VerdictLight(Painted):
    """Set `show_result`. Filled is a mark only at the planned end, with all contributions known."""

    def __init__(self, theme: Theme, *, scale: float = 1.0, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._scale = scale
        self._shown: ShownResult | None = None
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("verdict")

    def show_result(self, shown: ShownResult) -> None:
        """Verdict, trust and note of a result."""
        if shown != self._shown:
            self._shown = shown
            gate = str(shown.trust) if shown.trust in (Trust.DOUBTFUL, Trust.NOT_VALID) else ""
            self.setAccessibleDescription(f"{gate or shown.verdict or 'no verdict'}, {shown.note}")
            self.update()

    def set_scale(self, scale: float) -> None:
        """So many times as large from now on."""
        self._scale = scale
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """Mark and word."""
        return QSize(round(300 * self._scale), round(92 * self._scale))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Mark on the left, word and note beside it."""
        shown = self._shown
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.scale(self._scale, self._scale)
            if shown is None:
                return
            if shown.trust is Trust.NOT_VALID:
                self._paint_not_valid(painter, shown)
            elif shown.trust is Trust.DOUBTFUL:
                self._paint_doubtful(painter, shown)
            else:
                self._paint_verdict(painter, shown)

    def _paint_verdict(self, painter: QPainter, shown: ShownResult) -> None:
        verdict = shown.verdict
        role = _ROLES.get(verdict, "ink" if verdict else "faint")
        earned = shown.trust is Trust.ALL and not shown.provisional
        colours = {"mark": self.colour(role), "surface": self.colour("surface")}
        if not earned:
            colours["outline"] = self.colour(role)
        verdict_mark(painter, QPointF(38, 46), 56, verdict, colours)
        ink, faint = self.colour("ink"), self.colour("faint")
        coloured = earned and verdict in _ROLES
        word = ink if verdict and not coloured else self.colour(role)
        text_at(painter, 84, 44, verdict.upper() or "NO VERDICT", 26 if verdict else 18, word, bold=earned)
        self._note(painter, shown.note, 68, faint)

    def _paint_doubtful(self, painter: QPainter, shown: ShownResult) -> None:
        box = QRectF(0.5, 4.5, 299, 83)
        painter.setPen(QPen(self.colour("line"), 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(box, 3, 3)
        self._plate(painter, QRectF(0, 4, _STRIP, 84))
        faint = self.colour("faint")
        verdict_mark(painter, QPointF(48, 46), 48, shown.verdict, {"mark": faint, "surface": faint, "outline": faint})
        text_at(painter, 84, 42, "DOUBTFUL", 24, self.colour("ink"))
        self._note(painter, shown.note, 66, faint)

    def _paint_not_valid(self, painter: QPainter, shown: ShownResult) -> None:
        self._plate(painter, QRectF(0, 4, 300, 84))
        dark = self.colour("on_caution")
        verdict_mark(painter, QPointF(42, 46), 56, "not-valid", {"mark": dark, "surface": dark})
        text_at(painter, 84, 44, "NOT VALID", 26, dark, bold=True)
        self._note(painter, shown.note, 68, dark)

    def _plate(self, painter: QPainter, area: QRectF) -> None:
        painter.setPen(
            QPen(self.colour("on_caution"), 1.25) if self.theme.colours.name == "light" else Qt.PenStyle.NoPen
        )
        painter.setBrush(self.colour("caution"))
        painter.drawRoundedRect(area.adjusted(0.6, 0.6, -0.6, -0.6), 3, 3)

    def _note(self, painter: QPainter, text: str, baseline: float, colour: QColor) -> None:
        """In one line where it fits at 13 px or more, else in two."""
        room, size = 300 - 84 - 8, 16.0
        while size > 13 and text_width(text, size) > room:
            size -= 0.5
        lines = [text]
        if text_width(text, size) > room:
            words, first = text.split(), ""
            while words and text_width(f"{first} {words[0]}", size) <= room:
                first = f"{first} {words.pop(0)}".strip()
            lines = [first, " ".join(words)]
        for number, line in enumerate(lines):
            text_at(painter, 84, baseline - 4 * (len(lines) - 1) + 16 * number, line, size, colour)
