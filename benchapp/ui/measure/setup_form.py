"""What to measure and on which bench, as a form beside the plots; checked as one types."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QFormLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from benchapp.errors import InputError
from benchapp.recipe import Entry, Recipe, build_recipe
from sim.scenario import Scenario, load_scenario, scenario_names

_OWN = "own instruments"
_FIELDS = (
    ("name", "Specimen", ""),
    ("nominal", "Nominal", "250 uohm"),
    ("low", "Low limit", "none"),
    ("high", "High limit", "none"),
    ("current", "Current", "100 mA"),
    ("compliance", "Compliance", "1 V"),
    ("range", "Range", "from nominal"),
    ("nplc", "Aperture, PLC", "1"),
    ("settle", "Settling", "20 ms"),
    ("signs", "Signs", "+-"),
    ("blocks", "Blocks", "30"),
)


@dataclass(frozen=True, slots=True)
class Setup:
    """A complete form: the recipe, and a simulated bench or two addresses."""

    recipe: Recipe
    scenario: Scenario | None
    source: str
    voltmeter: str
    low_text: str
    high_text: str


class SetupForm(QWidget):
    """Fields for bench and recipe.

    Signals:
        checked: the number of faults after a change.
    """

    checked = Signal(int)

    def __init__(self, scenario: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bench = QComboBox()
        for name in scenario_names():
            self._bench.addItem(f"simulated: {name.replace('_', ' ')}", name)
        self._bench.addItem(_OWN, "")
        self._bench.setAccessibleName("Bench")
        self._source = _line("TCPIP::192.168.0.5::5025::SOCKET", "Address of the source")
        self._voltmeter = _line("TCPIP::192.168.0.6::5025::SOCKET", "Address of the voltmeter")
        self._lines = {key: _line(hint, label) for key, label, hint in _FIELDS}
        self._fault = QLabel("")
        self._fault.setProperty("role", "fault")
        self._fault.setWordWrap(True)
        form = QFormLayout()
        form.setContentsMargins(0, 0, 0, 0)
        form.setVerticalSpacing(4)
        form.addRow("Bench", self._bench)
        form.addRow("Source", self._source)
        form.addRow("Voltmeter", self._voltmeter)
        for key, label, _ in _FIELDS:
            form.addRow(label, self._lines[key])
        self._form = form
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(form)
        column.addWidget(self._fault)
        column.addStretch(1)
        self._bench.currentIndexChanged.connect(self._bench_chosen)
        for line in (self._source, self._voltmeter, *self._lines.values()):
            line.textChanged.connect(self._check)
        self._bench.setCurrentIndex(max(0, self._bench.findData(scenario)))
        self._bench_chosen()

    def setup(self) -> Setup | None:
        """What is written, or None while there are faults."""
        return self._read()[0]

    def set_value(self, key: str, text: str) -> None:
        """Fill one field, as typing would."""
        self._lines[key].setText(text)

    def use_addresses(self, source: str, voltmeter: str) -> None:
        """One's own instruments."""
        self._bench.setCurrentIndex(self._bench.findData(""))
        self._source.setText(source)
        self._voltmeter.setText(voltmeter)

    def _bench_chosen(self) -> None:
        name = self._bench.currentData()
        for line in (self._source, self._voltmeter):
            self._form.setRowVisible(line, not name)
        if name:
            recipe = load_scenario(name).recipe
            for key, line in self._lines.items():
                line.setText(str(recipe.get(key, "")))
        self._check()

    def _check(self) -> None:
        _, faults = self._read()
        for key, line in {**self._lines, "source": self._source, "voltmeter": self._voltmeter}.items():
            faulty = key in faults
            if line.property("faulty") != faulty:
                line.setProperty("faulty", faulty)
                line.style().unpolish(line)
                line.style().polish(line)
            line.setToolTip(faults.get(key, ""))
        self._fault.setText(next(iter(faults.values()), ""))
        self.checked.emit(len(faults))

    def _read(self) -> tuple[Setup | None, dict[str, str]]:
        texts = {key: line.text().strip() for key, line in self._lines.items()}
        labels = {key: label for key, label, _ in _FIELDS}
        faults: dict[str, str] = {}
        recipe: Recipe | None = None
        try:
            recipe = build_recipe({key: Entry(text, key) for key, text in texts.items() if text})
        except InputError as error:
            faults = {f.field: f"{labels.get(f.field, f.field)}: {f.problem}. {f.remedy}" for f in error.faults}
        name = self._bench.currentData()
        for key, line in (("source", self._source), ("voltmeter", self._voltmeter)):
            if not name and not line.text().strip():
                faults[key] = f"Address of the {key}: missing. Write for example {line.placeholderText()}"
        if faults or recipe is None:
            return None, faults
        scenario = load_scenario(name) if name else None
        addresses = self._source.text().strip(), self._voltmeter.text().strip()
        low, high = (texts[key].replace("uohm", "µΩ").replace("ohm", "Ω") for key in ("low", "high"))
        return Setup(recipe, scenario, *addresses, low, high), {}


def _line(hint: str, name: str) -> QLineEdit:
    line = QLineEdit()
    line.setPlaceholderText(hint)
    line.setAccessibleName(name)
    return line
