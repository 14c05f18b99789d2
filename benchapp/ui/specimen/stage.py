"""The Specimen stage: the recipe as a form, and beside it what to expect of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QCheckBox, QFileDialog, QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from benchapp.errors import InputError
from benchapp.plan.cautions import cautions
from benchapp.plan.prediction import Prediction, predict
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.ui.models import BenchModel, RecipeModel
from benchapp.ui.specimen.block_picture import BlockPicture
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.caution_plate import CautionPlate
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label, title
from benchapp.ui.widgets.quantity_edit import QuantityEdit

_GROUPS: tuple[tuple[str, tuple[tuple[str, str, str, str], ...]], ...] = (
    (
        "Specimen",
        (
            ("name", "Name", "Shunt S-17", ""),
            ("serial", "Serial", "", ""),
            ("nominal", "Nominal R", "250 uohm", "sets the range"),
        ),
    ),
    (
        "What it must be",
        (
            ("low", "Low limit", "none", "no limit: leave empty"),
            ("high", "High limit", "none", ""),
        ),
    ),
    (
        "How it is measured",
        (
            ("current", "Current", "100 mA", ""),
            ("compliance", "Compliance", "1 V", "largest voltage of the source"),
            ("current_shunt", "Measured over", "none", "a standard resistor in series"),
            ("range", "Voltmeter range", "from nominal R", ""),
            ("nplc", "Aperture", "1", "power-line cycles"),
            ("line_frequency", "Mains", "50 Hz", ""),
            ("settle", "Settling", "20 ms", "after each reversal"),
            ("signs", "Polarity sequence", "++--", "or +- or +--+ or +0-0"),
            ("emf_order", "EMF drift model", "1", "0 constant, 1 linear, 2 quadratic"),
            ("blocks", "Blocks", "30", "or a time, or an uncertainty:"),
            ("duration", "Duration", "none", ""),
            ("until", "Target U", "none", "in ohm, % or ppm"),
        ),
    ),
)
_PARTS = (  # in a row under that of all parts
    ("rounds", "Rounds", "5"),
    ("standard", "Standard", "none"),
    ("standard_uncertainty", "its U, k = 2", "none"),
)
_EXPECTED = ("Voltage", "Power in the specimen", "Rise of temperature", "Time of one block", "Time of the run")


class SpecimenStage(QWidget):
    """Edits the RecipeModel.

    Signals:
        done: the operator goes on to the bench.
        plan_wanted: the operator wants to plan from a target uncertainty.
    """

    done = Signal()
    plan_wanted = Signal()

    def __init__(self, theme: Theme, recipe: RecipeModel, bench: BenchModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._model, self._bench = theme, recipe, bench
        self._fields: dict[str, QuantityEdit] = {}
        self._notes: dict[str, tuple[QLabel, str]] = {}
        self._values = {name: plain_label("") for name in _EXPECTED}
        self.setAcceptDrops(True)
        row = QHBoxLayout(self)
        row.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        row.setSpacing(48)
        row.addLayout(self._build_form(), 1)
        row.addLayout(self._build_expectations(), 1)
        recipe.changed.connect(self.refresh)
        theme.changed.connect(self.refresh)
        self.refresh()

    # Building.

    def _build_form(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(2)
        column.addWidget(title("Specimen and recipe"))
        for heading, fields in _GROUPS:
            column.addWidget(Heading(heading))
            grid = QGridLayout()
            grid.setVerticalSpacing(3)
            grid.setColumnMinimumWidth(0, 132)
            grid.setColumnStretch(2, 1)
            for line, (key, label, hint, note) in enumerate(fields):
                edit = self._field(key, label, hint)
                edit.setFixedWidth(330 if key in ("name", "serial") else 170)
                text = plain_label(label)
                text.setBuddy(edit)
                remark = faint(note)
                remark.setWordWrap(True)
                self._notes[key] = (remark, note)
                grid.addWidget(text, line, 0)
                grid.addWidget(edit, line, 1)
                grid.addWidget(remark, line, 2)
            column.addLayout(grid)
        self.examined = QCheckBox("The run examines itself: settling, warming, polarities, levels")
        self.examined.toggled.connect(self._examine)
        column.addWidget(self.examined)
        column.addStretch(1)
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
        self._picture = BlockPicture(self._theme)
        column.addWidget(self._picture)
        column.addWidget(Heading("What to expect"))
        grid = QGridLayout()
        grid.setColumnStretch(2, 1)
        grid.setColumnMinimumWidth(0, 220)
        for line, (name, value) in enumerate(self._values.items()):
            grid.addWidget(faint(name), line, 0)
            value.setFont(font(16))
            value.setAlignment(Qt.AlignmentFlag.AlignRight)
            value.setMinimumWidth(130)
            grid.addWidget(value, line, 1)
        column.addLayout(grid)
        column.addLayout(self._build_parts())
        column.addStretch(1)
        self._plates = [CautionPlate(self._theme) for _ in range(2)]
        for plate in self._plates:
            column.addWidget(plate)
        self._message = faint()
        self._message.setWordWrap(True)
        column.addWidget(self._message)
        return column

    def _build_parts(self) -> QVBoxLayout:
        """Several parts on a scanner, and the standard among them: for those who have one."""
        column, row = QVBoxLayout(), QHBoxLayout()
        column.setSpacing(4)
        column.addWidget(Heading("Several parts, on a scanner"))
        parts = self._field("channels", "parts with their channels", "none, or as N-4 = 1, S-32 = 2")
        column.addWidget(parts)
        row.setSpacing(6)
        for key, label, hint in _PARTS:
            row.addWidget(plain_label(label))
            row.addWidget(self._field(key, label, hint), 1)
        column.addLayout(row)
        remark = faint("connected in turns; with a standard, the first of them, the others are stated by ratio to it")
        remark.setWordWrap(True)
        column.addWidget(remark)
        for key in ("channels", *(key for key, _, _ in _PARTS)):
            self._notes[key] = (remark, remark.text())
        return column

    def _field(self, key: str, label: str, hint: str) -> QuantityEdit:
        edit = QuantityEdit(label, hint)
        edit.textEdited.connect(self._typed(key))
        edit.textChanged.connect(self._typed(key))
        self._fields[key] = edit
        return edit

    def _typed(self, key: str) -> Callable[[str], None]:
        def typed(text: str) -> None:
            self._model.set_text(key, text)

        return typed

    def _examine(self, on: bool) -> None:
        if on != self._model.examined:
            self._model.set_examined(on=on)

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

    def field(self, key: str) -> QuantityEdit:
        """The field of a recipe key."""
        return self._fields[key]

    def refresh(self) -> None:
        """Fields, marks, picture and expectations from the model."""
        faults = self._model.faults
        told: dict[QLabel, str] = {}  # of fields that share a remark, the first fault
        for key, edit in self._fields.items():
            text = self._model.texts.get(key, "")
            if edit.text() != text:
                edit.setText(text)
            fault = faults.get(key, "")
            untouched = key == "current" and not text
            edit.set_fault("" if untouched else fault)
            label, note = self._notes[key]
            told[label] = told.get(label) or ("" if untouched else fault)
            label.setText(told[label] or note)
            label.setStyleSheet(f"color: {self._theme.colours.failed}" if told[label] else "")
        self.examined.setChecked(self._model.examined)
        self._go.setEnabled(not faults)
        count = len(faults)
        self._go.setText("To the bench" if not count else f"{count} value{'s' if count > 1 else ''} to mend")
        self._show_expectations()

    def _show_expectations(self) -> None:
        recipe = self._model.recipe
        prediction = None if recipe is None else predict(recipe, self._thermal_resistance())
        if recipe is None or prediction is None:
            self._picture.show_prediction(None)
            for value in self._values.values():
                value.setText("–")
        else:
            self._picture.show_prediction(prediction, recipe.current_A, recipe.emf_order)
            self._show_values(prediction)
        found = [] if recipe is None or prediction is None else cautions(recipe, prediction)
        for index, plate in enumerate(self._plates):
            plate.setVisible(index < len(found))
            if index < len(found):
                plate.show_caution(found[index].title, found[index].text)

    def _show_values(self, prediction: Prediction) -> None:
        quantities = (
            (prediction.voltage_V, "V"),
            (prediction.power_W, "W"),
            (prediction.temperature_rise_K, "K"),
            (prediction.block_s, "s"),
            (prediction.run_s, "s"),
        )
        for label, (value, unit) in zip(self._values.values(), quantities, strict=True):
            label.setText("not known" if value is None else engineering(value, unit, 3))

    def _thermal_resistance(self) -> float | None:
        scenario = self._bench.choice.loaded()
        return None if scenario is None else scenario.specimen.thermal_resistance_K_per_W or None

    @property
    def recipe(self) -> Recipe | None:
        """What would be measured."""
        return self._model.recipe
