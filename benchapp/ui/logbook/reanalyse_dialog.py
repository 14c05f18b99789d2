"""Another statement of a recorded run: what to change is chosen here; the new one is kept beside those it has."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from benchapp.analysis.estimate import CHOSEN_BY_NAME, Estimator
from benchapp.errors import BenchError, Fault, InputError
from benchapp.quantity import parse
from benchapp.recipe import read_entries
from benchapp.recipe_values import Entry
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import load_card
from benchapp.result.statement import LeftOut, Statement
from benchapp.run.recorded import RecordedRun, reanalyse
from benchapp.ui.widgets.controls import plain_label

_DRIFT_MODELS = ("constant", "linear", "quadratic")


class ReanalyseDialog(QDialog):
    """`statements` are the new ones after it was accepted."""

    def __init__(self, logbook: Path, run: RecordedRun, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"State run {run.record.summary.run_id} once more")
        self._logbook, self._run = logbook, run
        self.statements: tuple[Statement, ...] = ()
        self.drift = QComboBox()
        self.drift.addItems(list(_DRIFT_MODELS))
        self.drift.setCurrentIndex(run.recipe.emf_order)
        self.estimator = QComboBox()
        self.estimator.addItems([str(estimator) for estimator in CHOSEN_BY_NAME])
        self.estimator.setCurrentText(str(run.recipe.estimator))
        self.coverage = QLineEdit(str(run.recipe.confidence))
        self.accuracy = QLineEdit()
        self.accuracy.setPlaceholderText("none: U covers repeatability only")
        choose = QPushButton("Choose…")
        choose.clicked.connect(self._choose)
        file = QHBoxLayout()
        file.addWidget(self.accuracy, 1)
        file.addWidget(choose)
        self.start, self.end, self.reason = QLineEdit(), QLineEdit(), QLineEdit()
        self.start.setPlaceholderText("8 s")
        self.end.setPlaceholderText("11 s")
        self.reason.setPlaceholderText("why, such as: a hand on the terminal")
        stretch = QHBoxLayout()
        for field in (self.start, self.end):
            field.setFixedWidth(80)
            stretch.addWidget(field)
        stretch.addWidget(self.reason, 1)
        form = QFormLayout()
        form.addRow("EMF drift model", self.drift)
        form.addRow("Estimator", self.estimator)
        form.addRow("Coverage probability", self.coverage)
        form.addRow("Accuracy data", file)
        form.addRow("Leave out", stretch)
        self.fault = plain_label()
        self.fault.setWordWrap(True)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Cancel)
        buttons.addButton("State it", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.accepted.connect(self.state_it)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addLayout(form)
        column.addWidget(self.fault)
        column.addWidget(buttons)
        self.resize(560, 0)

    def state_it(self) -> None:
        """State the run by what was chosen; a fault in it is shown and nothing is kept."""
        try:
            self.statements = reanalyse(
                self._logbook,
                self._run.record.summary.run_id,
                known=self._known(),
                emf_order=self.drift.currentIndex(),
                estimator=Estimator(self.estimator.currentText()),
                left_out=self._left_out(),
            )
        except BenchError as error:
            self.fault.setText(str(error))
        else:
            self.accept()

    def _choose(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, "Accuracy data", "", "Accuracy data (*.toml)")
        if path:
            self.accuracy.setText(path)

    def _known(self) -> BudgetPlan:
        values, faults = read_entries({"confidence": Entry(self.coverage.text(), "Coverage probability")})
        if faults:
            raise InputError(*faults)
        path = self.accuracy.text().strip()
        return BudgetPlan(load_card(Path(path)) if path else None, confidence=values["confidence"])

    def _left_out(self) -> list[LeftOut]:
        texts = [field.text().strip() for field in (self.start, self.end, self.reason)]
        if not any(texts):
            return []
        if not all(texts):
            raise InputError(Fault("is not complete", "", "Write start, end and the reason", field="Leave out"))
        start, end = parse(texts[0], "s"), parse(texts[1], "s")
        if not start < end:
            raise InputError(Fault("ends before it begins", texts[1], "Exchange start and end", field="Leave out"))
        return [LeftOut(start, end, texts[2])]
