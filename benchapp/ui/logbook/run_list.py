"""The list of runs: number, time, specimen, result with its certain digits, its ruler, its verdict."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from benchapp.errors import BenchError
from benchapp.logbook.query import DAMAGED, RUNNING, RunSummary
from benchapp.quantity import ShownNumber, prefix_power, shown_number
from benchapp.recipe import Recipe, build_recipe, entries_from_text
from benchapp.result.decision import percent
from benchapp.result.statement import Statement
from benchapp.result.words import lot_in_words, plural
from benchapp.run.recorded import first_statements
from benchapp.run.stating import headline
from benchapp.ui.logbook.sparklines import Sparklines
from benchapp.ui.presentation import RulerReading, Trust, trust_in, words_of
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import tip
from benchapp.ui.widgets.number import paint_number
from benchapp.ui.widgets.painting import elided, text_at, verdict_mark
from benchapp.ui.widgets.ruler import paint_ruler

HEADINGS = ("Run", "Started", "Specimen", "Result", "Blocks", "On its ruler", "Verdict")
WIDTHS = (60, 140, 240, 226, 112, 176, 214)
_RUN, _STARTED, _SPECIMEN, _RESULT, _BLOCKS, _RULER, _VERDICT = range(7)
_ROLES = {"pass": "passed", "fail": "failed"}
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
    trust: Trust = Trust.NOTHING
    note: str = ""  # in few words why it is in doubt, or by what right the verdict stands
    lot: str = ""  # what stands in place of a number, of several parts
    flags: tuple[str, ...] = ()  # what is said of the run, in few words

    @property
    def word(self) -> str:
        """What the verdict column says."""
        if self.trust is Trust.NOT_VALID:
            return "not valid"
        if self.trust is Trust.DOUBTFUL:
            return "doubtful"
        return self.verdict or ("no limits" if self.number else "none")

    def matches(self, text: str) -> bool:
        """Whether name, number, date or status contain the text."""
        hay = f"{self.summary.run_id} {self.name} {self.summary.started} {self.summary.status} {self.word} {self.note}"
        hay += f" {local_time(self.summary.started)} {' '.join(self.flags)}"
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
        worst = headline(parts)
        told = f"{plural(len(parts), 'part')}: {lot_in_words(parts)}".rstrip(": ")
        said = _said(*parts)
        return RunRow(summary, name, None, RulerReading(low=low, high=high), *_judged(worst), told, said)
    stated = parts[0]
    name = f"{name}, {stated.part}" if stated.part and name else name or stated.part
    R, u, U = stated.resistance_ohm, stated.standard_uncertainty_ohm, stated.expanded_uncertainty_ohm
    number = None
    if math.isfinite(R) and math.isfinite(U) and u > 0:
        nominal = recipe.nominal_ohm if recipe is not None else None
        number = shown_number(R, u, U, "ohm", prefix_power(nominal if nominal else R))
    verdict, trust, note = _judged(stated)
    if number is not None and trust in (Trust.DOUBTFUL, Trust.NOT_VALID):
        number = replace(number, certain=0)
    ruler = RulerReading(R, U, low, high, verdict=verdict, trust=str(trust))
    return RunRow(summary, name, number, ruler, verdict, trust, note, flags=_said(stated))


def _said(*parts: Statement) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words_of(flag.code).short for stated in parts for flag in stated.flags))


def _judged(stated: Statement) -> tuple[str, Trust, str]:
    """The verdict of the numbers, how far it is to be trusted, and a note on that."""
    trust = trust_in(stated)
    verdict = "" if stated.decision is None else str(stated.decision.verdict)
    if stated.reasons:
        return verdict, trust, words_of(stated.reasons[0].code).short
    risk = math.nan if stated.decision is None else stated.decision.specific_risk
    by_right = f"risk {percent(risk)}" if math.isfinite(risk) else ""
    return verdict, trust, by_right if trust is Trust.ALL else "by repeatability" if verdict else ""


class RunListModel(QAbstractTableModel):
    """Rows that match the search, the newest first."""

    def __init__(self) -> None:
        super().__init__()
        self._all: list[RunRow] = []
        self._text = ""
        self._filter: Callable[[RunRow], bool] = lambda row: True
        self.rows: list[RunRow] = []

    def take(self, summaries: list[RunSummary]) -> None:
        """Other runs."""
        self._all = [row_of(summary) for summary in reversed(summaries)]
        self.search(self._text)

    def search(self, text: str) -> None:
        """Show what contains every word of `text`."""
        self.beginResetModel()
        self._text = text
        self.rows = [row for row in self._all if self._filter(row) and row.matches(text)]
        self.endResetModel()

    def show_only(self, lets: Callable[[RunRow], bool]) -> None:
        """Show what a filter lets through."""
        self._filter = lets
        self.search(self._text)

    @property
    def names(self) -> list[str]:
        """Of all specimens, in the order of the alphabet."""
        return sorted({row.summary.name for row in self._all if row.summary.name})

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
        local_time(row.summary.started, near=True),
        row.name or "without a name",
        result,
        "",
        "",
        f"{row.word}, {row.note}" if row.note else row.word,
    )[column]


def no_result(row: RunRow) -> str:
    """Why there is none."""
    status = row.summary.status
    return status if status in (RUNNING, DAMAGED) else f"no result: {status}"


def local_time(started: str, *, near: bool = False) -> str:
    """UTC as written down, as the wall clock shows it; `near`: with words for the last two days."""
    try:
        then = datetime.fromisoformat(started).astimezone()
        days = (datetime.now(then.tzinfo).date() - then.date()).days
        day = {0: "today", 1: "yesterday"}.get(days, f"{then:%Y-%m-%d}") if near else f"{then:%Y-%m-%d}"
        return f"{day} {then:%H:%M}"
    except (ValueError, OverflowError, OSError):
        return started


class RunDelegate(QStyledItemDelegate):
    """Paints a row."""

    def __init__(self, theme: Theme, sparklines: Sparklines, parent: QWidget) -> None:
        super().__init__(parent)
        self._theme, self._sparklines = theme, sparklines

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
        if index.column() == _RESULT and row.number is not None:
            x, y = area.left() + 12.0, area.center().y() + 7.0
            paint_number(painter, x, y, 20, row.number, row.trust, c)
        elif index.column() == _BLOCKS:
            self._paint_blocks(painter, area, row)
        elif index.column() == _RULER:
            painter.translate(area.left() + 6, area.top() + 10)
            if row.number is not None:
                paint_ruler(painter, row.ruler, area.width() - 24, self._theme, labels=False)
        elif index.column() == _VERDICT:
            self._paint_verdict(painter, area, row)
        else:
            damaged = index.column() == _RESULT and row.summary.status == DAMAGED
            ink = c.colour("failed" if damaged else "ink" if index.column() == _SPECIMEN else "faint")
            words = elided(text, area.width() - 16, 14, bold=selected or damaged)
            bold = damaged or (selected and index.column() == _SPECIMEN)
            text_at(painter, area.left() + 12, baseline, words, 14, ink, bold=bold)
        painter.restore()

    def _paint_blocks(self, painter: QPainter, area: QRect, row: RunRow) -> None:
        """Its blocks in their order, 92 px wide, and a line at their middle."""
        summary = row.summary
        points = self._sparklines.points(
            summary.run_id, summary.readings, ended=summary.status not in (RUNNING, DAMAGED)
        )
        if not len(points):
            return
        c = self._theme.colours
        left, top, width, height = area.left() + 8.0, area.top() + 14.0, 92.0, area.height() - 28.0
        painter.fillRect(QRectF(left, top + height / 2, width, 1), c.colour("grid"))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(c.colour("faint" if row.trust in (Trust.DOUBTFUL, Trust.NOT_VALID) else "ink"))
        for number, value in enumerate(points):
            x = left + width * number / (len(points) - 1)
            painter.drawEllipse(QPointF(x, top + height * (1 - float(value))), 1.6, 1.6)

    def _paint_verdict(self, painter: QPainter, area: QRect, row: RunRow) -> None:
        """Mark and word, the note under it; on a plate, or behind a strip, where it must not be taken for one."""
        c = self._theme.colours
        not_valid, doubtful = row.trust is Trust.NOT_VALID, row.trust is Trust.DOUBTFUL
        top, left = area.center().y(), area.left()
        ink, faint = c.colour("ink"), c.colour("faint")
        if not_valid:
            painter.fillRect(left + 2, top - 21, area.width() - 10, 42, c.colour("caution"))
            ink = faint = c.colour("on_caution")
        elif doubtful:
            painter.fillRect(left + 2, top - 21, 4, 42, c.colour("caution"))
        earned = row.trust is Trust.ALL
        mark = ink if not_valid else faint if doubtful else c.colour(_ROLES.get(row.verdict, "ink"))
        colours = {"mark": mark, "surface": c.colour("surface")}
        if not earned and not not_valid:
            colours["outline"] = mark
        verdict_mark(painter, QPointF(left + 24, top), 20, "not-valid" if not_valid else row.verdict, colours)
        word = mark if earned and row.verdict in _ROLES else ink
        baseline = top + (-2 if row.note else 5)
        text_at(painter, left + 42, baseline, row.word, 15, word, bold=not_valid or (earned and bool(row.verdict)))
        text_at(painter, left + 42, baseline + 16, elided(row.note, area.width() - 52, 12), 12, faint)
