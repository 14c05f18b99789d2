"""The figures of a conclusion in rows, each with its interval; and what the recipe would say with it applied."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.study.conclusion import Conclusion
from benchapp.study.words import figure_in_words, interval_in_words
from benchapp.ui.specimen.fields import label_of
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, elided, text_at, text_width

_ROW, _HEAD = 44, 96


class Figures(Painted):
    """Set `show_conclusion`. The first line is large: what would be applied, or the first figure."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._found: Conclusion | None = None
        self._before: dict[str, str] = {}
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("figures of the study")

    def show_conclusion(self, found: Conclusion | None, before: dict[str, str]) -> None:
        """`before`: the recipe's texts as they are."""
        self._found, self._before = found, dict(before)
        self.setFixedHeight(self.sizeHint().height())
        told = [] if found is None else [f"{one.name} {figure_in_words(one)}" for one in found.figures]
        self.setAccessibleDescription("; ".join(told))
        self.update()

    def sizeHint(self) -> QSize:
        """A head, a row a figure, a row a change."""
        found = self._found
        rows = 0 if found is None else len(found.figures) + len(found.changes) + bool(found.changes)
        return QSize(340, (_HEAD if found is not None else 0) + _ROW * rows)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Head, figures, changes."""
        found = self._found
        if found is None:
            return
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            ink, faint = self.colour("ink"), self.colour("faint")
            label, value = self._head(found)
            text_at(painter, 0, 20, label, 14, faint)
            size = 40.0
            while size > 18 and text_width(value, size, bold=found.tells) > self.width():
                size -= 2
            text_at(painter, 0, 66, value, size, ink if found.tells else faint, bold=found.tells)
            y = float(_HEAD)
            for one in found.figures:
                self._rule(painter, y)
                text_at(painter, 0, y + 19, one.name, 13, faint)
                align = Qt.AlignmentFlag.AlignRight
                told = figure_in_words(one)
                text_at(painter, self.width(), y + 19, told, 14, ink if found.tells else faint, align=align)
                between = elided(f"95 %: {interval_in_words(one)}", self.width(), 12)
                text_at(painter, self.width(), y + 36, between, 12, faint, align=align)
                y += _ROW
            if found.changes:
                self._rule(painter, y)
                text_at(painter, 0, y + 28, "Applied, the recipe would say", 14, ink, bold=True)
                y += _ROW
            for key, text in found.changes.items():
                self._change(painter, y, key, self._before.get(key, "") or "none", text)
                y += _ROW

    def _head(self, found: Conclusion) -> tuple[str, str]:
        if not found.tells:
            return "These data", "cannot tell"
        if found.changes:
            key, text = next(iter(found.changes.items()))
            return label_of(key), text
        if found.figures:
            return found.figures[0].name, figure_in_words(found.figures[0])
        return "", "–"

    def _rule(self, painter: QPainter, y: float) -> None:
        painter.setPen(QPen(self.colour("grid"), 1))
        painter.drawLine(QRectF(0, y, self.width(), 0).topLeft(), QRectF(0, y, self.width(), 0).topRight())

    def _change(self, painter: QPainter, y: float, key: str, before: str, after: str) -> None:
        """The old value struck, the new one beside it."""
        ink, faint = self.colour("ink"), self.colour("faint")
        text_at(painter, 0, y + 20, label_of(key), 14, faint)
        align = Qt.AlignmentFlag.AlignRight
        width = text_at(painter, self.width(), y + 20, after, 14, ink, bold=True, align=align)
        right = self.width() - width - 18
        old = text_at(painter, right, y + 20, before, 14, faint, align=align)
        painter.setPen(QPen(faint, 1.25))
        painter.drawLine(QRectF(right - old, y + 15, old, 0).topLeft(), QRectF(right - old, y + 15, old, 0).topRight())
