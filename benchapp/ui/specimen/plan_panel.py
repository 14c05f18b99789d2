"""The plan as half of the Specimen stage: the curve, what limits, and the same target by other means."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from benchapp.plan.optimum import Proposal
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.ui.presentation import duration_text
from benchapp.ui.run_controller import RunController
from benchapp.ui.specimen.plan_picture import PlanPicture
from benchapp.ui.specimen.planner import Foreseen, Planner
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import Heading, KeyButton, faint
from benchapp.ui.widgets.painting import Painted, text_at

_MOST_OTHERS = 3


class PlanPanel(QWidget):
    """Follows the recipe.

    Signals:
        end_wanted: a time in s after which the run is to end.
        proposal_wanted: a recipe that reaches the target by other means.
    """

    end_wanted = Signal(float)
    proposal_wanted = Signal(object)

    def __init__(self, theme: Theme, controller: RunController, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._recipe: Recipe | None = None
        self._others: tuple[Proposal, ...] = ()
        logbook: Path = controller.logbook
        self.planner = Planner(logbook, lambda: controller.card, self)
        self.planner.found.connect(self._show)
        self.picture = PlanPicture(theme)
        self.picture.moved.connect(self.end_wanted)
        self._limiting = _Limiting(theme)
        self._heading = Heading("The same target by other means")
        self.buttons = [KeyButton(theme, "", "", self._chooser(index), self) for index in range(_MOST_OTHERS)]
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.picture, 1)
        column.addWidget(self._limiting)
        column.addWidget(self._heading)
        for button in self.buttons:
            column.addWidget(button)
        self._none = faint("no current that is permitted reaches the target: Plan… says what stands in the way")
        column.addWidget(self._none)
        self._show(Foreseen(why="appears when the values are complete"))

    def show_recipe(self, recipe: Recipe | None) -> None:
        """What it would give."""
        self._recipe = recipe
        self.planner.ask(recipe)

    def _chooser(self, index: int) -> Callable[[], None]:
        def choose() -> None:
            if index < len(self._others):
                self.proposal_wanted.emit(self._others[index].recipe)

        return choose

    def _show(self, seen: Foreseen) -> None:
        self.picture.show_foreseen(seen)
        self._limiting.setVisible(seen.there is not None)
        self._limiting.show_proposal(seen.there)
        self._others = seen.others[:_MOST_OTHERS]
        has_target = bool(seen.curves) and math.isfinite(seen.target_ohm)
        self._heading.setVisible(has_target)
        self._none.setVisible(has_target and not self._others)
        marks = _marks(self._others)
        for index, button in enumerate(self.buttons):
            button.setVisible(index < len(self._others))
            if index < len(self._others):
                button.setText(self._told(self._others[index], marks[index]))

    def _told(self, one: Proposal, mark: str) -> str:
        recipe, now = one.recipe, self._recipe
        chosen = now is not None and (recipe.current_A, recipe.nplc, recipe.signs) == (
            now.current_A, now.nplc, now.signs)  # fmt: skip
        current, power = engineering(recipe.current_A, "A", 3), engineering(one.power_W, "W", 2)
        told = f"{current}, {recipe.nplc:g} PLC: {duration_text(one.time_s)}, {power} in it"
        return f"{told}, {'as chosen' if chosen else mark}" if chosen or mark else told


def _marks(others: tuple[Proposal, ...]) -> list[str]:
    """Which is fastest, which coolest; nothing where there is one."""
    if len(others) < 2:
        return [""] * len(others)
    fastest = min(range(len(others)), key=lambda k: others[k].time_s)
    coolest = min(range(len(others)), key=lambda k: others[k].power_W)
    return ["fastest" if k == fastest else "coolest" if k == coolest else "" for k in range(len(others))]


class _Limiting(Painted):
    """What limits there: the largest share of u², and the rest."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._there: Proposal | None = None
        self.setFixedHeight(40)
        self.setAccessibleName("what limits")

    def show_proposal(self, there: Proposal | None) -> None:
        """What the recipe would give at its end."""
        self._there = there
        self.setAccessibleDescription("" if there is None else f"{there.largest.name} {there.largest.share:.0%}")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A bar with its words below."""
        if self._there is None:
            return
        with QPainter(self) as painter:
            faint, ink = self.colour("faint"), self.colour("ink")
            left = 16 + text_at(painter, 0, 16, "what limits there", 13, faint)
            share = self._there.largest.share
            width = self.width() - left
            painter.fillRect(QRectF(left, 7, width * share, 9), self.colour("accent"))
            painter.fillRect(QRectF(left + width * share + 1, 7, width * (1 - share) - 1, 9), self.colour("line"))
            text_at(painter, left, 34, f"{self._there.largest.name} {share:.0%}", 13, ink)
            right = Qt.AlignmentFlag.AlignRight
            text_at(painter, self.width(), 34, f"rest {1 - share:.0%}", 13, faint, align=right)
