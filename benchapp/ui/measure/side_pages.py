"""The card beside the plots: numbers, budget and stability of a run, one at a time."""

from __future__ import annotations

import time
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QPushButton, QStackedWidget, QVBoxLayout, QWidget

from benchapp.analysis.stability import allan_series
from benchapp.measure.snapshot import RunSnapshot
from benchapp.result.statement import Statement
from benchapp.run.history import History
from benchapp.ui.measure.budget_view import BudgetView
from benchapp.ui.measure.examined_view import ExaminedView
from benchapp.ui.measure.parts_table import PartsTable
from benchapp.ui.measure.statistics_table import StatisticsTable
from benchapp.ui.plots.stability_plot import StabilityPlot
from benchapp.ui.presentation import FIRST_BLOCK, ShownResult
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import scrolled

_EVERY_S = 1.0
_PARTS, _EXAMINED = 3, 4
_MOST_BLOCKS = 20_000  # the last ones, for the stability shown


@dataclass(frozen=True, slots=True)
class ShownRun:
    """What the pages show: a snapshot with its statement, its history, and what is stated of each part."""

    snapshot: RunSnapshot
    history: History
    statements: tuple[Statement, ...] = ()
    headline: ShownResult | None = None


class SidePages(QWidget):
    """Set `show_run`; the page in view follows at once, the others when they are chosen."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shown: ShownRun | None = None
        self._last_s = 0.0
        self._table = StatisticsTable(theme)
        self._budget = BudgetView(theme)
        self._stability = StabilityPlot(theme)
        self._parts = PartsTable(theme)
        self._examined = ExaminedView(theme)
        self.stack = QStackedWidget()
        self._choice = QButtonGroup(self)
        row = QHBoxLayout()
        row.setSpacing(0)
        for index, (name, page) in enumerate(
            (
                *(("Numbers", self._table), ("Budget", self._budget), ("Stability", self._stability)),
                *(("Parts", self._parts), ("Examined", self._examined)),
            )
        ):
            self.stack.addWidget(page)
            button = QPushButton(name)
            button.setCheckable(True)
            button.setProperty("tab", True)
            button.setChecked(index == 0)
            button.setCursor(Qt.CursorShape.PointingHandCursor)
            self._choice.addButton(button, index)
            button.setVisible(index not in (_PARTS, _EXAMINED))
            row.addWidget(button)
        self._choice.idClicked.connect(self.choose)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addLayout(row)
        column.addWidget(scrolled(self.stack, "pages"), 1)

    def choose(self, index: int) -> None:
        """Bring a page to the front: 0 numbers, 1 budget, 2 stability, 3 parts, 4 examined."""
        self._choice.button(index).setChecked(True)
        self.stack.setCurrentIndex(index)
        self._fill()

    def next_page(self) -> None:
        """The page after the one in view."""
        shown = [index for index in range(self.stack.count()) if not self._choice.button(index).isHidden()]
        self.choose(shown[(shown.index(self.stack.currentIndex()) + 1) % len(shown)])

    def show_run(self, shown: ShownRun) -> None:
        """A run as it stands; budget and stability at most once a second, and at the end."""
        self._shown = shown
        self._offer(_PARTS, there=len(shown.statements) > 1)
        stated = shown.snapshot.statement
        self._offer(_EXAMINED, there=stated is not None and stated.estimate.examined is not None)
        if self.stack.currentIndex() == 0:
            self._table.show_run(shown.snapshot, shown.headline)
            return
        now = time.monotonic()
        if now - self._last_s >= _EVERY_S or shown.snapshot.end is not None:
            self._fill()

    def _offer(self, page: int, *, there: bool) -> None:
        """A page that only some runs have comes to the front with the first of them, and goes with it."""
        button = self._choice.button(page)
        if button.isHidden() == there:
            button.setVisible(there)
            self.choose(page if there else 0)

    def _fill(self) -> None:
        self._last_s = time.monotonic()
        shown = self._shown
        if shown is None:
            return
        page = self.stack.currentIndex()
        if page == 0:
            self._table.show_run(shown.snapshot, shown.headline)
        elif page == 1:
            self._fill_budget(shown)
        elif page == _PARTS:
            self._parts.show_parts(shown.statements, shown.snapshot)
        elif page == _EXAMINED:
            self._examined.show_statement(shown.snapshot.statement)
        else:
            self._fill_stability(shown)

    def _fill_budget(self, shown: ShownRun) -> None:
        stated = shown.snapshot.statement
        if stated is None or stated.estimate.blocks < FIRST_BLOCK:
            self._budget.show_statement(None)
            return
        self._budget.show_statement(stated)

    def _fill_stability(self, shown: ShownRun) -> None:
        kept = shown.history.blocks
        blocks = kept.since(max(0, kept.count - _MOST_BLOCKS))
        count = blocks.shape[1]
        if count < 8:
            self._stability.show_points([], 0.0)
            return
        spacing = float(blocks[0, -1] - blocks[0, 0]) / (count - 1)
        self._stability.show_points(allan_series(blocks[1]), spacing)
