"""The run's statistics beside the plots: one quantity a row, value and unit aligned."""

from __future__ import annotations

import math

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.measure.snapshot import RunSnapshot
from benchapp.quantity import engineering, scaled_text
from benchapp.result.words import coverage_in_words
from benchapp.ui.presentation import ShownResult
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, elided, text_at

_PITCH = 27


class StatisticsTable(Painted):
    """Set `show_run`; rows without a value stay empty."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._rows: list[tuple[str, str, str]] = []
        self._foot: list[str] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("statistics")

    def sizeHint(self) -> QSize:
        """As many rows as there are."""
        return QSize(260, _PITCH * 12)

    def show_run(self, snapshot: RunSnapshot, headline: ShownResult | None = None) -> None:
        """The numbers of a snapshot; what is a resistance has the headline's prefix and its places."""
        stated = snapshot.statement
        if stated is None:
            return
        e = stated.estimate
        power_W = abs(stated.resistance_ohm) * (stated.conditions.current_A or math.nan) ** 2
        p = coverage_in_words(stated)

        def ohm(value: float, digits: int, suffix: str = "") -> tuple[str, str]:
            if headline is None or headline.number is None or not math.isfinite(value):
                return _split(value, "ohm", digits, suffix)
            return scaled_text(value, headline.power, headline.places), headline.number.unit + suffix

        rows = [
            (f"U, {p}", *ohm(stated.expanded_uncertainty_ohm, 3)),
            ("u", *ohm(stated.standard_uncertainty_ohm, 3)),
            (f"k, {p}", _number(stated.coverage_factor), ""),
            ("s of one block", *ohm(e.block_deviation_ohm, 3)),
            ("mean EMF", *_split(e.thermal_emf_V, "V", 4)),
            ("EMF slope", *_split(e.thermal_emf_slope_V_per_s * 60, "V", 3, "/min")),
            ("drift of R", *ohm(e.drift_ohm_per_s * 60, 3, "/min")),
            ("reading noise", *_split(e.reading_noise_V, "V", 3)),
            ("blocks", str(e.blocks), ""),
            ("readings", str(e.readings), ""),
            ("power", *_split(power_W, "W", 3)),
            ("time", *_split(snapshot.time_s, "s", 4)),
        ]
        rows = [row for row in rows if row[1]]  # no name without its number
        if rows != self._rows:
            self._rows = rows
            self.setAccessibleDescription("; ".join(" ".join(row) for row in rows))
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Names faint on the left, numbers right-aligned, units in a column of their own."""
        with QPainter(self) as painter:
            ink, faint = self.colour("ink"), self.colour("faint")
            right = self.width() - 70
            whole = max(0, (self.height() - 6) // _PITCH)  # a row is whole or absent
            for index, (name, value, unit) in enumerate(self._rows[:whole]):
                baseline = 20 + index * _PITCH
                width = text_at(painter, right, baseline, value, 16, ink, align=Qt.AlignmentFlag.AlignRight)
                text_at(painter, 0, baseline, elided(name, min(130, right - width - 8), 14), 14, faint)
                text_at(painter, right + 8, baseline, unit, 14, faint)


def _split(value: float, unit: str, digits: int, suffix: str = "") -> tuple[str, str]:
    if not math.isfinite(value):
        return "", ""
    number, _, shown_unit = engineering(value, unit, digits).partition(" ")
    return number.replace("-", "−"), shown_unit + suffix


def _number(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else ""
