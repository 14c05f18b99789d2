"""Why a result is not valid: the cause, what was seen against what was to be expected, and what to do."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.run.history import History
from benchapp.ui.presentation import told_apart, words_of
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, text_at, text_width

_READINGS = 4000  # the last ones tell what was seen


@dataclass(frozen=True, slots=True)
class Seen:
    """One row of evidence; `wanted` may be empty."""

    name: str
    value: str
    wanted: str


@dataclass(frozen=True, slots=True)
class Why:
    """Cause, sentence, evidence, remedy."""

    heading: str
    text: str
    remedy: str
    seen: tuple[Seen, ...]


def why_of(stated: Statement, recipe: Recipe, history: History) -> Why | None:
    """Of the gravest reason; None where the result is valid."""
    if not stated.reasons:
        return None
    reason = stated.reasons[0]
    what, remedy = told_apart(reason.text)
    return Why(words_of(reason.code).heading, what, remedy, _evidence(stated, recipe, history))


def _evidence(stated: Statement, recipe: Recipe, history: History) -> tuple[Seen, ...]:
    """The mean voltage at either sign beside what the nominal resistance would give, and the noise of a reading."""
    rows = history.readings.since(max(0, history.readings.count - _READINGS))
    found = []
    working = recipe.current_A
    for sign, name in ((1.0, "V with +I"), (-1.0, "V with −I")):
        there = rows[1] * sign > 0.75 * working
        if not there.any():
            continue
        wanted = ""
        if recipe.nominal_ohm is not None:
            wanted = f"wants about {_text(sign * recipe.nominal_ohm * working, 'V')}"
        found.append(Seen(name, _text(float(rows[2, there].mean()), "V"), wanted))
    noise = stated.estimate.reading_noise_V
    if noise > 0:
        found.append(Seen("noise of a reading", _text(noise, "V"), ""))
    return tuple(found)


def _text(value: float, unit: str) -> str:
    return engineering(value, unit, 3).replace("-", "−")


class WhyPanel(Painted):
    """Set `show_why`; None hides it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._why: Why | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFixedHeight(150)
        self.setAccessibleName("why it is not valid")
        self.setVisible(False)

    def show_why(self, why: Why | None) -> None:
        """What is wrong."""
        self.setVisible(why is not None)
        if why != self._why and why is not None:
            self._why = why
            self.setAccessibleDescription(f"{why.heading}. {why.text} {why.remedy}")
            self.update()

    def sizeHint(self) -> QSize:
        """As wide as there is room."""
        return QSize(600, 150)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Cause at the left, evidence at the right, the remedy under both."""
        why = self._why
        if why is None:
            return
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self.colour("raised"))
            painter.drawRoundedRect(QRectF(self.rect()), 4, 4)
            ink, faint = self.colour("ink"), self.colour("faint")
            text_at(painter, 16, 26, "Why", 14, ink, bold=True)
            text_at(painter, 58, 26, why.heading, 14, ink)
            evidence = 0.46 * self.width() if why.seen else self.width()
            beside = 58 + text_width(why.heading, 14) + 24 < evidence
            self._paragraph(painter, QRectF(16, 38, evidence - 32, 66), why.text, 13)
            for row, seen in enumerate(why.seen):
                y = 50 + 24 * row
                text_at(painter, evidence, y, seen.name, 13, faint)
                right = evidence + 230
                text_at(painter, right, y, seen.value, 14, ink, align=Qt.AlignmentFlag.AlignRight)
                if seen.wanted and right + 14 + text_width(seen.wanted, 13) < self.width():
                    text_at(painter, right + 14, y, seen.wanted, 13, faint)
            if why.seen and beside:
                text_at(painter, evidence, 26, "Seen", 13, faint)
            if why.remedy:
                text_at(painter, 16, 136, "Do", 14, ink, bold=True)
                size = 14.0
                while size > 11 and text_width(why.remedy, size) > self.width() - 64:
                    size -= 0.5
                text_at(painter, 46, 136, why.remedy, size, ink)

    def _paragraph(self, painter: QPainter, area: QRectF, text: str, size: float) -> None:
        """Wrapped, smaller where it is long."""
        flags = int(Qt.TextFlag.TextWordWrap)
        while size > 10 and QFontMetricsF(font(size)).boundingRect(area, flags, text).height() > area.height():
            size -= 0.5
        painter.setFont(font(size))
        painter.setPen(self.colour("faint"))
        painter.drawText(area, flags, text)
