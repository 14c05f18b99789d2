"""What an examined run has found: each term in a row, its R on one axis over the band of U, and what stays untested."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.quantity import engineering
from benchapp.result.examined import NAMES
from benchapp.result.statement import Statement
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, text_at

_ROW, _HEAD = 50, 30
_WRAP = int(Qt.TextFlag.TextWordWrap)


@dataclass(frozen=True, slots=True)
class Row:
    """One term: R with what it would be without the effect, its half-width, and what was found in words."""

    name: str
    value_ohm: float
    half_ohm: float
    said: str
    found: bool


def rows_of(stated: Statement) -> list[Row]:
    """The value itself first, R at zero power last; nothing where the run did not examine itself."""
    seen = stated.estimate.examined
    if seen is None:
        return []
    R = seen.resistance_ohm
    rows = [Row("as stated", R, seen.half_width_ohm, "", True)]
    for effect in seen.effects:
        if effect.found:
            said = f"found: {engineering(effect.size_ohm, 'ohm', 2)} ± {engineering(effect.half_width_ohm, 'ohm', 1)}"
            if math.isfinite(effect.tau_s):
                said += f", τ {engineering(effect.tau_s, 's', 2)}"
            rows.append(Row(NAMES[effect.name], R + effect.size_ohm, effect.half_width_ohm, said, True))
        else:
            said = f"none; above {engineering(effect.seen_above_ohm, 'ohm', 2)} seen"
            rows.append(Row(NAMES[effect.name], R, effect.seen_above_ohm, said, False))
    said = engineering(seen.zero_power_ohm - R, "ohm", 2)
    rows.append(Row("R at zero power", seen.zero_power_ohm, seen.zero_power_half_width_ohm, said, True))
    return rows


class ExaminedView(Painted):
    """Set `show_statement`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.rows: list[Row] = []
        self._U_ohm, self._untested = math.nan, ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.MinimumExpanding)
        self.setAccessibleName("what the run has examined")

    def show_statement(self, stated: Statement | None) -> None:
        """What was found; nothing for a plain run."""
        self.rows = [] if stated is None else rows_of(stated)
        self._U_ohm = math.nan if stated is None else stated.expanded_uncertainty_ohm
        untested = () if stated is None else stated.not_tested
        self._untested = "; ".join(item.text.split(":")[0].rstrip(".").lower() for item in untested)
        told = "; ".join(f"{row.name}: {row.said}" for row in self.rows)
        self.setAccessibleDescription(f"{told}; not tested: {self._untested}")
        self.setMinimumHeight(self.sizeHint().height())
        self.update()

    def sizeHint(self) -> QSize:
        """A row a term, and the words under them."""
        words = QFontMetrics(font(12)).boundingRect(QRect(0, 0, 260, 1000), _WRAP, self._untested).height()
        return QSize(260, _HEAD + _ROW * max(1, len(self.rows)) + words + 36)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Axis band first, then a row a term."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            ink, faint = self.colour("ink"), self.colour("faint")
            if not self.rows:
                text_at(painter, 0, 20, "no whole cycles yet", 13, faint)
                return
            text_at(painter, 0, 18, "R on one axis; the band is U", 12, faint)
            low, high = self._span()
            for number, row in enumerate(self.rows):
                self._paint_row(painter, row, _HEAD + number * _ROW, low, high)
            y = _HEAD + len(self.rows) * _ROW + 14
            text_at(painter, 0, y, "Not tested", 13, ink, bold=True)
            painter.setFont(font(12))
            painter.setPen(faint)
            said = self._untested or "nothing that this program knows of"
            painter.drawText(QRectF(0, y + 6, self.width(), 400), _WRAP, said)

    def _span(self) -> tuple[float, float]:
        ends = [end for row in self.rows for end in (row.value_ohm - row.half_ohm, row.value_ohm + row.half_ohm)]
        centre = self.rows[0].value_ohm
        reach = max(max(abs(end - centre) for end in ends if math.isfinite(end)), 1.2 * abs(self._U_ohm), 1e-18)
        return centre - 1.1 * reach, centre + 1.1 * reach

    def _paint_row(self, painter: QPainter, row: Row, top: int, low: float, high: float) -> None:
        ink, faint = self.colour("ink"), self.colour("faint")

        def x(value: float) -> float:
            return (min(max(value, low), high) - low) / (high - low) * self.width()

        text_at(painter, 0, top + 14, row.name, 13, ink, bold=row.found and bool(row.said))
        right = Qt.AlignmentFlag.AlignRight
        text_at(painter, self.width(), top + 30, row.said, 12, ink if row.found else faint, align=right)
        centre, y = self.rows[0].value_ohm, top + 40.0
        if math.isfinite(self._U_ohm):
            left, end = x(centre - self._U_ohm), x(centre + self._U_ohm)
            painter.fillRect(QRectF(left, top + 34, max(1.0, end - left), 12), self.colour("band"))
        painter.fillRect(QRectF(x(centre) - 0.75, top + 34, 1.5, 12), self.colour("accent"))
        pen = QPen(ink if row.found else faint, 1.5)
        if not row.found:
            pen.setStyle(Qt.PenStyle.DotLine)
        painter.setPen(pen)
        for end in (row.value_ohm - row.half_ohm, row.value_ohm + row.half_ohm):
            painter.drawLine(QPointF(x(end), y - 4), QPointF(x(end), y + 4))
        painter.drawLine(QPointF(x(row.value_ohm - row.half_ohm), y), QPointF(x(row.value_ohm + row.half_ohm), y))
        if row.found:
            painter.setBrush(ink)
            painter.drawEllipse(QPointF(x(row.value_ohm), y), 3, 3)
        painter.setPen(QPen(self.colour("grid"), 1))
        painter.drawLine(QPointF(0, top + _ROW - 1), QPointF(self.width(), top + _ROW - 1))
