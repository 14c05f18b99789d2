"""The list of runs: number, time, specimen, result with its certain digits, its ruler, its verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QPointF, QRect, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from benchapp.errors import BenchError
from benchapp.logbook.query import DAMAGED, RUNNING, RunSummary
from benchapp.quantity import ShownNumber, prefix_power, shown_number
from benchapp.recipe import Recipe, build_recipe, entries_from_text
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import lot_in_words, plural
from benchapp.run.recorded import first_statements
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import tip
from benchapp.ui.widgets.painting import elided, text_at, verdict_mark
from benchapp.ui.widgets.ruler import RulerReading, paint_ruler

HEADINGS = ("Run", "Started", "Specimen", "Result", "On its ruler", "Verdict")
WIDTHS = (70, 150, 300, 250, 230, 170)
GATES = {"not-valid": "NOT VALID", "doubtful": "doubtful"}
_ROLES = {"pass": "passed", "fail": "failed", "undecided": "ink", "not-valid": "failed", "doubtful": "ink"}
ROW_HEIGHT = 58
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run as the list shows it."""

    summary: RunSummary
    name: str
    number: ShownNumber | None
    ruler: RulerReading
    verdict: str
    gate: str = ""
    lot: str = ""  # what stands in place of a number, of several parts

    def matches(self, text: str) -> bool:
        """Whether name, number, date or status contain the text."""
        hay = (
            f"{self.summary.run_id} {self.name} {self.summary.started} {self.summary.status} {self.verdict} {self.gate}"
        )
        return all(word in hay.lower() for word in text.lower().split())


def row_of(summary: RunSummary) -> RunRow:
    """Words and numbers of a run; a recipe that this version cannot read costs its limits only."""
    try:
        recipe: Recipe | None = build_recipe(entries_from_text(summary.recipe_toml, "run"))
    except BenchError:
        recipe = None
    low, high = (recipe.low_ohm, recipe.high_ohm) if recipe is not None else (None, None)
    name = summary.name
    try:
        parts = [one for one in first_statements(summary) if not one.is_standard]
    except BenchError as error:
        parts, summary = [], replace(summary, status=DAMAGED, damage=(str(error),))
    if not parts or summary.damage:
        return RunRow(summary, name, None, RulerReading(math.nan, math.nan, low, high), "")
    if len(parts) > 1:
        verdict, gate = _worst(parts)
        told = f"{plural(len(parts), 'part')}: {lot_in_words(parts)}".rstrip(": ")
        return RunRow(summary, name, None, RulerReading(math.nan, math.nan, low, high), verdict, gate, told)
    stated = parts[0]
    name = f"{name}, {stated.part}" if stated.part and name else name or stated.part
    R, u, U = stated.resistance_ohm, stated.standard_uncertainty_ohm, stated.expanded_uncertainty_ohm
    number = None
    if math.isfinite(R) and math.isfinite(U) and u > 0:
        nominal = recipe.nominal_ohm if recipe is not None else None
        number = shown_number(R, u, U, "ohm", prefix_power(nominal if nominal else R))
    verdict = "" if stated.verdict is None else str(stated.verdict)
    gate = "" if stated.validity is Validity.VALID else str(stated.validity)
    if gate and number is not None:
        number = replace(number, certain=0)
    return RunRow(summary, name, number, RulerReading(R, U, low, high, verdict=verdict), verdict, gate)


def _worst(parts: Sequence[Statement]) -> tuple[str, str]:
    """The verdict and the gate of a lot: those of its worst part."""
    gates = [str(one.validity) for one in parts if one.validity is not Validity.VALID]
    if gates:
        return "", "not-valid" if "not-valid" in gates else "doubtful"
    verdicts = [str(one.verdict or "") for one in parts]
    return next((word for word in ("fail", "undecided", "pass") if word in verdicts), ""), ""


class RunListModel(QAbstractTableModel):
    """Rows that match the search, the newest first."""

    def __init__(self) -> None:
        super().__init__()
        self._all: list[RunRow] = []
        self._text = ""
        self.rows: list[RunRow] = []

    def take(self, summaries: list[RunSummary]) -> None:
        """Other runs."""
        self._all = [row_of(summary) for summary in reversed(summaries)]
        self.search(self._text)

    def search(self, text: str) -> None:
        """Show what contains every word of `text`."""
        self.beginResetModel()
        self._text = text
        self.rows = [row for row in self._all if row.matches(text)]
        self.endResetModel()

    @property
    def total(self) -> int:
        """Runs in the logbook."""
        return len(self._all)

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008  Qt's own signature
        """Rows shown."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008  Qt's own signature
        """Columns."""
        return len(HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Names of the columns, at their left."""
        if orientation is Qt.Orientation.Horizontal:
            if role == Qt.ItemDataRole.DisplayRole:
                return HEADINGS[section]
            if role == Qt.ItemDataRole.TextAlignmentRole:
                return int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """The row's words, for screen readers and tooltips too; the delegate paints them."""
        row = self.rows[index.row()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return cell_text(row, index.column())
        if role == Qt.ItemDataRole.ToolTipRole:
            damage = "; ".join(row.summary.damage)
            return tip(damage or cell_text(row, index.column()))
        return None


def cell_text(row: RunRow, column: int) -> str:
    """What a cell says."""
    number = row.number
    result = f"{number.digits}({number.parenthesis}) {number.unit}" if number else row.lot or no_result(row)
    return (
        str(row.summary.run_id),
        local_time(row.summary.started),
        row.name or "without a name",
        result,
        "",
        GATES.get(row.gate) or row.verdict or ("no limits" if number else "none"),
    )[column]


def no_result(row: RunRow) -> str:
    """Why there is none."""
    status = row.summary.status
    return status if status in (RUNNING, DAMAGED) else f"no result: {status}"


def local_time(started: str) -> str:
    """UTC as written down, as the wall clock shows it."""
    try:
        return datetime.fromisoformat(started).astimezone().strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError, OSError):
        return started


class RunDelegate(QStyledItemDelegate):
    """Paints a row."""

    def __init__(self, theme: Theme, parent: QWidget) -> None:
        super().__init__(parent)
        self._theme = theme

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Ground, then what the column shows."""
        model = index.model()
        assert isinstance(model, RunListModel)
        row = model.rows[index.row()]
        c = self._theme.colours
        area: QRect = option.rect
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.setClipRect(area)
        painter.fillRect(area, c.colour("raised" if selected else "surface"))
        painter.fillRect(area.left(), area.bottom(), area.width(), 1, c.colour("grid"))
        if selected and index.column() == 0:
            painter.fillRect(area.left(), area.top(), 4, area.height(), c.colour("accent"))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        baseline = area.center().y() + 5
        text = cell_text(row, index.column())
        if index.column() == 3 and row.number is not None:
            self._paint_number(painter, area, row.number, struck=row.gate == "not-valid")
        elif index.column() == 4:
            painter.translate(area.left() + 6, area.top() + 10)
            if row.number is not None:
                paint_ruler(painter, row.ruler, area.width() - 24, self._theme, labels=False)
        elif index.column() == 5:
            self._paint_verdict(painter, area, row.verdict or row.gate, text)
        else:
            damaged = index.column() == 3 and row.summary.status == DAMAGED
            ink = c.colour("failed" if damaged else "ink" if index.column() == 2 else "faint")
            words = elided(text, area.width() - 16, 14, bold=selected or damaged)
            bold = damaged or (selected and index.column() == 2)
            text_at(painter, area.left() + 12, baseline, words, 14, ink, bold=bold)
        painter.restore()

    def _paint_number(self, painter: QPainter, area: QRect, number: ShownNumber, *, struck: bool) -> None:
        c = self._theme.colours
        x, y = area.left() + 6.0, area.center().y() + 7.0
        sure, doubtful = number.digits[: number.certain], number.digits[number.certain :]
        x += text_at(painter, x, y, sure, 20, c.colour("ink"), bold=True)
        x += text_at(painter, x, y, doubtful, 20, c.colour("faint")) + 3
        x += text_at(painter, x, y, f"({number.parenthesis})", 14, c.colour("faint")) + 8
        if struck:
            painter.fillRect(area.left() + 4, int(y) - 7, int(x) - area.left() - 8, 2, c.colour("failed"))
        text_at(painter, x, y, number.unit, 16, c.colour("ink"))

    def _paint_verdict(self, painter: QPainter, area: QRect, verdict: str, text: str) -> None:
        c = self._theme.colours
        role = {"pass": "passed", "fail": "failed", "undecided": "ink", "not-valid": "failed", "doubtful": "ink"}.get(
            verdict, "faint"
        )
        colours = {"mark": c.colour(role), "surface": c.colour("surface")}
        centre = QPointF(area.left() + 16, area.center().y())
        verdict_mark(painter, centre, 20, verdict, colours)
        text_at(painter, area.left() + 36, area.center().y() + 5, text, 15, c.colour(role), bold=bool(verdict))
