"""The result on top of every stage that has one: title, number, interval, verdict, ruler."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.ui.presentation import ShownResult
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint, plain_label, set_tip
from benchapp.ui.widgets.interval_box import IntervalBox
from benchapp.ui.widgets.number import BigNumber
from benchapp.ui.widgets.painting import elided
from benchapp.ui.widgets.ruler import ToleranceRuler
from benchapp.ui.widgets.verdict import VerdictLight


class ResultPanel(QWidget):
    """Set `show_head` and `show_result`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._title = plain_label()
        self._title.setFont(font(14, bold=True))
        self._title.setTextFormat(Qt.TextFormat.PlainText)
        self._summary, self._run = faint(), faint()
        self.number = BigNumber(theme)
        self.interval = IntervalBox(theme)
        self.verdict = VerdictLight(theme)
        self.ruler = ToleranceRuler(theme)
        head, result = QHBoxLayout(), QHBoxLayout()
        head.addWidget(self._title)
        head.addSpacing(24)
        head.addWidget(self._summary)
        head.addStretch(1)
        head.addWidget(self._run)
        result.addWidget(self.number, 1)
        result.addWidget(self.interval)
        result.addWidget(self.verdict)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(head)
        column.addLayout(result)
        column.addWidget(self.ruler)

    def show_head(self, recipe: Recipe | None, run: str) -> None:
        """Whose result it is, and how it is measured."""
        name = "" if recipe is None else " ".join(filter(None, (recipe.name, recipe.serial)))
        self._title.setText(elided(name or "Specimen without a name", 520, 14, bold=True))
        set_tip(self._title, name)
        self._run.setText(run)
        if recipe is None:
            self._summary.setText("")
            return
        signs = " ".join(recipe.signs.replace("-", "−"))
        signs = signs if len(signs) <= 24 else signs[:23] + "…"
        self._summary.setText(
            f"{engineering(recipe.current_A, 'A')},  {signs},  {recipe.nplc:g} PLC,"
            f"  settling {engineering(recipe.settle_s, 's', 3)}"
        )

    def show_result(self, shown: ShownResult) -> None:
        """The result as presented."""
        self.number.show_result(shown)
        self.interval.show_result(shown)
        self.verdict.show_result(shown)
        self.ruler.set_reading(shown.ruler)
