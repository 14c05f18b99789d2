"""The Specimen stage: the recipe as a form, and beside it what to expect of it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QResizeEvent
from PySide6.QtWidgets import QCheckBox, QFileDialog, QHBoxLayout, QVBoxLayout, QWidget

from benchapp.errors import InputError
from benchapp.plan.cautions import cautions
from benchapp.plan.prediction import Prediction, predict
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.recipe_rules import STOP_KEYS
from benchapp.ui.models import BenchModel, RecipeModel
from benchapp.ui.run_controller import RunController
from benchapp.ui.specimen.block_picture import BlockPicture
from benchapp.ui.specimen.form import RecipeForm
from benchapp.ui.specimen.plan_panel import PlanPanel
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.caution_plate import CautionPlate
from benchapp.ui.widgets.choice_edit import ChoiceEdit
from benchapp.ui.widgets.controls import KeyButton, faint, plain_label, title
from benchapp.ui.widgets.quantity_edit import QuantityEdit

_FORM_WIDTH = 528
_ROOM_FOR_BLOCK, _ROOM_FOR_PLAN = 740, 1060


class SpecimenStage(QWidget):
    """Edits the RecipeModel.

    Signals:
        done: the operator goes on to the bench.
        plan_wanted: the operator wants to plan from a target uncertainty and what is permitted.
    """

    done = Signal()
    plan_wanted = Signal()

    def __init__(
        self,
        theme: Theme,
        recipe: RecipeModel,
        bench: BenchModel,
        controller: RunController,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._theme, self._model, self._bench = theme, recipe, bench
        self._controller = controller
        self.setAcceptDrops(True)
        row = QHBoxLayout(self)
        row.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        row.setSpacing(32)
        row.addLayout(self._build_form())
        row.addLayout(self._build_expectations(), 1)
        recipe.changed.connect(self.refresh)
        theme.changed.connect(self.refresh)
        self.refresh()

    # Building.

    def _build_form(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(6)
        self._note = faint()
        self._note.setFont(font(13))
        head = QHBoxLayout()
        head.addWidget(title("Specimen"))
        head.addSpacing(16)
        head.addWidget(self._note, 1)
        column.addLayout(head)
        self.form = RecipeForm(self._theme, self._model)
        self.form.setFixedWidth(_FORM_WIDTH)
        column.addWidget(self.form, 1)
        self._go = KeyButton(self._theme, "To the bench", "Ctrl+Return", self.done.emit, self, main=True)
        buttons = QHBoxLayout()
        buttons.setSpacing(8)
        buttons.addWidget(self._go, 2)
        buttons.addWidget(KeyButton(self._theme, "Plan…", "Ctrl+Shift+P", self.plan_wanted.emit, self), 1)
        buttons.addWidget(KeyButton(self._theme, "Open…", "Ctrl+O", self.ask_open, self), 1)
        buttons.addWidget(KeyButton(self._theme, "Save…", "Ctrl+S", self.ask_save, self), 1)
        column.addLayout(buttons)
        return column

    def _build_expectations(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(8)
        self.plan = PlanPanel(self._theme, self._controller)
        self.plan.end_wanted.connect(self._end_at)
        self.plan.proposal_wanted.connect(self._take_other)
        column.addWidget(self.plan, 1)
        self._picture = BlockPicture(self._theme)
        column.addWidget(self._picture)
        self._expected = plain_label()
        self._expected.setWordWrap(True)
        column.addWidget(self._expected)
        self._plates = [CautionPlate(self._theme) for _ in range(2)]
        for plate in self._plates:
            column.addWidget(plate)
        self._message = faint()
        self._message.setWordWrap(True)
        column.addWidget(self._message)
        return column

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Without the picture of a block, and without the plan, where there is no room."""
        self.plan.setVisible(event.size().width() >= _ROOM_FOR_PLAN)
        self._picture.setVisible(event.size().height() >= _ROOM_FOR_BLOCK)

    def _end_at(self, time_s: float) -> None:
        """The plan's point was moved: the run ends then, whatever ended it before."""
        texts = {key: text for key, text in self._model.texts.items() if key not in STOP_KEYS}
        self._model.take({**texts, "duration": engineering(time_s, "s", 3)}, self._model.path)

    def _take_other(self, recipe: Recipe) -> None:
        """Another way to the target, which stays what ends the run."""
        target = self._model.texts.get("until", "")
        self._model.take_planned(recipe)
        if target and not recipe.examine:
            planned = self._model.planned - set(STOP_KEYS)
            texts = {key: text for key, text in self._model.texts.items() if key not in STOP_KEYS}
            self._model.take({**texts, "until": target}, self._model.path, planned)

    @property
    def examined(self) -> QCheckBox:
        """Whether the run examines itself."""
        return self.form.examined

    # Files.

    def ask_open(self) -> None:
        """Choose a recipe file."""
        name, _ = QFileDialog.getOpenFileName(self, "Open a recipe", "", "Recipes (*.toml)")
        if name:
            self.open(Path(name))

    def open(self, path: Path) -> None:
        """Read a recipe; a file that cannot be used is told and changes nothing."""
        try:
            self._model.open(path)
        except InputError as error:
            self._message.setText(str(error))
        else:
            self._message.setText(f"opened {path.name}")

    def ask_save(self) -> None:
        """Choose where to save."""
        before = str(self._model.path or "recipe.toml")
        name, _ = QFileDialog.getSaveFileName(self, "Save the recipe", before, "Recipes (*.toml)")
        if name:
            self.save(Path(name))

    def save(self, path: Path) -> None:
        """Write the recipe."""
        try:
            self._model.save(path)
        except InputError as error:
            self._message.setText(str(error))
        else:
            self._message.setText(f"saved as {path.name}")

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take recipe files."""
        if any(url.toLocalFile().endswith(".toml") for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open the first recipe that was dropped."""
        for url in event.mimeData().urls():
            if url.toLocalFile().endswith(".toml"):
                self.open(Path(url.toLocalFile()))
                return

    # Showing.

    def field(self, key: str) -> QuantityEdit | ChoiceEdit:
        """The field of a recipe key."""
        return self.form.fields[key]

    def refresh(self) -> None:
        """Fields, marks, plan, picture and expectations from the model."""
        model = self._model
        self.form.refresh()
        self._note.setText("" if model.path is None else f"recipe {model.path.name}")
        count = len(model.faults)
        self._go.setEnabled(not count)
        self._go.setText("To the bench" if not count else f"{count} value{'s' if count > 1 else ''} to mend")
        self.plan.show_recipe(model.recipe)
        self._show_expectations()

    def _show_expectations(self) -> None:
        recipe = self._model.recipe
        prediction = None if recipe is None else predict(recipe, self._thermal_resistance())
        if recipe is None or prediction is None:
            self._picture.show_prediction(None)
            self._expected.setText("")
        else:
            self._picture.show_prediction(prediction, recipe.current_A, recipe.emf_order)
            self._expected.setText(_expected(prediction))
        found = [] if recipe is None or prediction is None else cautions(recipe, prediction)
        for index, plate in enumerate(self._plates):
            plate.setVisible(index < len(found))
            if index < len(found):
                plate.show_caution(found[index].title, found[index].text)

    def _thermal_resistance(self) -> float | None:
        scenario = self._bench.choice.loaded()
        return None if scenario is None else scenario.specimen.thermal_resistance_K_per_W or None

    @property
    def recipe(self) -> Recipe | None:
        """What would be measured."""
        return self._model.recipe


def _expected(prediction: Prediction) -> str:
    """What to expect in a sentence; what is not known is left out."""
    told = [
        f"{engineering(value, unit, 3)} {words}"
        for value, unit, words in (
            (prediction.voltage_V, "V", "over the part"),
            (prediction.power_W, "W", "in it"),
            (prediction.temperature_rise_K, "K", "warmer by it"),
            (prediction.run_s, "s", "for the run, without the instruments' own times"),
        )
        if value is not None
    ]
    return f"To expect: {', '.join(told)}." if told else ""
