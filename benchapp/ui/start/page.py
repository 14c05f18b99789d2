"""As you left it: the bench asked anew, what has changed named, and the way to the next part."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QHeaderView, QTableView, QVBoxLayout, QWidget

from benchapp.bench.identify import Identified
from benchapp.bench.output import OutputState
from benchapp.check.take import DEFAULT_PART, trial_recipe
from benchapp.errors import BenchError, InputError
from benchapp.logbook.query import RunSummary, listing
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.result.words import plural
from benchapp.ui.logbook.run_list import ROW_HEIGHT, RunDelegate, RunListModel
from benchapp.ui.logbook.sparklines import Sparklines
from benchapp.ui.models import BenchModel, RecipeModel
from benchapp.ui.run_controller import RunController
from benchapp.ui.start.remembered import Remembered
from benchapp.ui.start.row_list import RowList, StartRow
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label, title
from benchapp.ui.widgets.quantity_edit import QuantityEdit

_ROLES = ("source", "voltmeter", "current_voltmeter", "scanner", "thermometer")
_NAMES = {"current_voltmeter": "voltmeter for the current"}
_SHOWN = (2, 3, 6)  # specimen, result, verdict
_RUNS = 7
_SOON_DAYS = 14


class StartPage(QWidget):
    """Shown once, at the start, over instruments that were in use before.

    Signals:
        check_wanted: check leads and contacts, then measure.
        ask_wanted: ask the instruments once more.
        recipe_wanted, bench_wanted, guide_wanted: elsewhere.
    """

    check_wanted = Signal()
    ask_wanted = Signal()
    recipe_wanted = Signal()
    bench_wanted = Signal()
    guide_wanted = Signal()

    def __init__(
        self,
        theme: Theme,
        before: Remembered,
        recipe: RecipeModel,
        bench: BenchModel,
        controller: RunController,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._theme, self._before, self._recipe, self._bench = theme, before, recipe, bench
        self._controller = controller
        self._answers: dict[str, Identified] = {}
        self._output = OutputState.NONE
        self._logbook_row = StartRow("waiting", "logbook", "not read yet")
        row = QHBoxLayout(self)
        row.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        row.setSpacing(24)
        row.addLayout(self._build_left(), 1)
        row.addWidget(self._build_runs())
        self._read_logbook()
        recipe.changed.connect(self.refresh)
        self.refresh()

    def _build_left(self) -> QVBoxLayout:
        head = QHBoxLayout()
        head.addWidget(title(f"As you left it {self._before.when_in_words}"))
        head.addSpacing(16)
        head.addWidget(faint("asked again just now; nothing was switched on"))
        head.addStretch(1)
        card = QFrame()
        card.setObjectName("card")
        inside = QVBoxLayout(card)
        inside.setContentsMargins(12, 4, 12, 4)
        self.rows = RowList(self._theme)
        inside.addWidget(self.rows)
        self.name, self.serial = QuantityEdit("specimen", "name"), QuantityEdit("serial", "the reader types here")
        for key, edit in (("name", self.name), ("serial", self.serial)):
            edit.setText(self._recipe.texts.get(key, ""))
            edit.textEdited.connect(lambda text, key=key: self._recipe.set_text(key, text))
        part = QHBoxLayout()
        part.setSpacing(12)
        part.addWidget(plain_label("Specimen"))
        part.addWidget(self.name, 2)
        part.addWidget(plain_label("Serial"))
        part.addWidget(self.serial, 1)
        self.main = KeyButton(
            self._theme, "Check, then measure", "Ctrl+Return", self.check_wanted.emit, self, main=True, typed=False
        )
        self.again = KeyButton(self._theme, "Ask again", "Ctrl+R", self._ask, self)
        others = QHBoxLayout()
        others.setSpacing(8)
        others.addWidget(self.again)
        for text, signal, keys in (
            ("Recipe", self.recipe_wanted, "Ctrl+1"),
            ("Another bench", self.bench_wanted, "Ctrl+2"),
            ("Guide", self.guide_wanted, "F1"),
        ):
            button = KeyButton(self._theme, text, "", signal.emit, self)
            button.show_keys(keys)
            others.addWidget(button)
        self._told = faint()
        column = QVBoxLayout()
        column.setSpacing(8)
        column.addLayout(head)
        column.addWidget(card)
        column.addWidget(Heading("On the bench"))
        column.addLayout(part)
        column.addWidget(self.main)
        column.addLayout(others)
        column.addWidget(self._told)
        column.addStretch(1)
        return column

    def _build_runs(self) -> QWidget:
        card = QFrame()
        card.setObjectName("card")
        card.setFixedWidth(486)
        inside = QVBoxLayout(card)
        inside.setContentsMargins(12, 4, 12, 8)
        inside.addWidget(Heading("The last runs"))
        self._runs = RunListModel()
        table = QTableView()
        table.setModel(self._runs)
        table.setItemDelegate(RunDelegate(self._theme, Sparklines(self._controller.logbook, self), table))
        table.setSelectionMode(QTableView.SelectionMode.NoSelection)
        table.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        table.setShowGrid(False)
        table.verticalHeader().hide()
        table.horizontalHeader().hide()
        table.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for column in range(self._runs.columnCount()):
            table.setColumnHidden(column, column not in _SHOWN)
        for column, width in zip(_SHOWN, (96, 214, 152), strict=True):
            table.setColumnWidth(column, width)
        table.horizontalHeader().setSectionResizeMode(_SHOWN[0], QHeaderView.ResizeMode.Stretch)
        table.setAccessibleName("the last runs")
        inside.addWidget(table, 1)
        return card

    # What comes in.

    def show_answer(self, answer: Identified) -> None:
        """What an instrument said."""
        self._answers[answer.role] = answer
        self.refresh()

    def show_output(self, state: OutputState) -> None:
        """As it was read back."""
        self._output = state
        self.refresh()

    def _ask(self) -> None:
        """What was heard before says nothing any longer."""
        self._answers.clear()
        self.refresh()
        self.ask_wanted.emit()

    @property
    def identities(self) -> dict[str, str]:
        """Who answered, or who had before where nobody did."""
        heard = {role: one.identity for role, one in self._answers.items() if not one.fault}
        return {**self._before.identities, **heard}

    def _read_logbook(self) -> None:
        path: Path = self._controller.logbook
        runs: list[RunSummary] = []
        if not path.is_file():
            self._logbook_row = StartRow("good", "logbook", "empty", "every run will stand there by itself")
        else:
            try:
                found = listing(path)
            except BenchError as error:
                self._logbook_row = StartRow("failed", "logbook", "cannot be read", str(error))
            else:
                runs = found.runs
                damaged = [run.run_id for run in runs if run.damage]
                said = found.fault or (f"run {damaged[0]} is damaged" if damaged else "readable")
                mark = "caution" if found.fault or damaged else "good"
                size = engineering(path.stat().st_size, "B", 2)
                self._logbook_row = StartRow(mark, "logbook", plural(len(runs), "run"), said, size)
        self._runs.take(runs[-_RUNS:])

    def refresh(self) -> None:
        """All rows from what is known."""
        choice = self._bench.choice
        rows = [self._instrument(role) for role in _ROLES if getattr(choice, role).strip()]
        rows += [self._output_row(), self._recipe_row(), self._accuracy_row(), self._logbook_row]
        self.rows.show_rows(tuple(rows))
        silent = any(one.fault for one in self._answers.values())
        self.main.setEnabled(self._recipe.recipe is not None and not silent and len(self._answers) > 1)
        recipe = self._recipe.recipe
        self._told.setText(
            "" if recipe is None else
            f"The check drives at most {_of_check(recipe)} for some seconds, then asks: Start is pressed once more."
        )  # fmt: skip
        self._told.setFont(font(13))

    def _instrument(self, role: str) -> StartRow:
        name, address = _NAMES.get(role, role), getattr(self._bench.choice, role).strip()
        answer, before = self._answers.get(role), self._before.identities.get(role, "")
        if answer is None:
            return StartRow("waiting", name, address, "is being asked")
        if answer.fault.startswith("in use"):
            return StartRow("failed", name, address, answer.fault)
        if answer.fault:
            return StartRow("failed", name, address, "no answer: is it on, and is this its address? Bench says more")
        took = f"answers in {engineering(answer.seconds, 's', 2)}"
        if before and before != answer.identity:
            return StartRow("caution", name, answer.identity, f"another one: it was {before}", took)
        return StartRow("good", name, answer.identity, took, "the same as before" if before else "")

    def _output_row(self) -> StartRow:
        if self._output is OutputState.OFF:
            return StartRow("good", "output", "off", "read back from the source")
        if self._output is OutputState.ON:
            return StartRow("failed", "output", "ON", "somebody has switched it on: press Esc")
        return StartRow("waiting", "output", "not known", "the source has not been read")

    def _recipe_row(self) -> StartRow:
        recipe = self._recipe.recipe
        if recipe is None:
            count = len(self._recipe.faults)
            return StartRow("failed", "recipe", "has faults", f"{plural(count, 'value')} to mend on Specimen")
        path = self._recipe.path
        said = (
            f"{engineering(recipe.current_A, 'A', 3)}, {recipe.signs if len(recipe.signs) < 9 else 'long dwells'},"
            f" {recipe.nplc:g} PLC, settling {engineering(recipe.settle_s, 's', 3)}"
        )
        return StartRow("good", "recipe", path.name if path else recipe.name or "as typed", said)

    def _accuracy_row(self) -> StartRow:
        card, fault = self._controller.card, self._controller.accuracy_fault
        if fault:
            return StartRow("failed", "accuracy data", "cannot be read", fault)
        if card is None:
            return StartRow("caution", "accuracy data", "none", "U covers repeatability only")
        dues = [spec.due for _, spec in card.specs if spec.due is not None]
        if not dues:
            return StartRow("good", "accuracy data", card.in_words)
        left = (min(dues) - date.today()).days
        told = "overdue" if left < 0 else f"due in {plural(left, 'day')}" if left <= _SOON_DAYS else f"due {min(dues)}"
        return StartRow("good" if left > _SOON_DAYS else "caution", "accuracy data", card.in_words, "", told)


def _of_check(recipe: Recipe) -> str:
    """The current of a check."""
    try:
        return engineering(trial_recipe(recipe, DEFAULT_PART).current_A, "A", 3)
    except InputError:  # several parts: the Check stage says why not
        return "1 % of the current"
