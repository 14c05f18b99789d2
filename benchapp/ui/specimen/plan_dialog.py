"""From a target uncertainty to a recipe, in the window: wished, proposed, and taken over where wanted."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from benchapp.bench.limits import load_limits
from benchapp.errors import BenchError, Fault, InputError
from benchapp.plan.learnt import Learnt, learn
from benchapp.plan.optimum import Plan, Wish, plan
from benchapp.plan.wish import wish_of
from benchapp.plan.words import plan_in_words
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard
from benchapp.run.recorded import open_run
from benchapp.ui.widgets.controls import plain_label
from benchapp.ui.widgets.quantity_edit import QuantityEdit

_FIELDS = (
    ("nominal", "Nominal R", "250 uohm"),
    ("target", "Target U", "0.02 %, 200 ppm or 50 nohm"),
    ("max-current", "Largest current", "the house limit"),
    ("max-power", "Largest power in it", "the house limit"),
    ("max-voltage", "Largest voltage over it", "none; 20 mV for a dry circuit"),
    ("max-time", "Longest run", "none"),
    ("from-run", "Noise as in run", "number of a run; empty: from the accuracy data"),
)


class PlanDialog(QDialog):
    """`recipe` is what was taken over, None where nothing was.

    Signals:
        planned: wish, plan and what was learnt, from the thread that searched.
        failed: why there is no plan.
    """

    planned = Signal(object, object, object)
    failed = Signal(str)

    def __init__(self, logbook: Path, card: InstrumentCard | None, nominal: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Plan from a target uncertainty")
        self.resize(760, 620)
        self._logbook, self._card = logbook, card
        self._proposed: Recipe | None = None
        self.recipe: Recipe | None = None
        self.fields = {name: QuantityEdit(label, hint) for name, label, hint in _FIELDS}
        self.fields["nominal"].setText(nominal)
        form = QFormLayout()
        for name, label, _ in _FIELDS:
            form.addRow(label, self.fields[name])
        self.examine = QCheckBox("a run that examines itself")
        form.addRow("", self.examine)
        self.told = QPlainTextEdit()
        self.told.setReadOnly(True)
        self.told.setAccessibleName("the plan")
        self.fault = plain_label()
        self.fault.setWordWrap(True)
        self.search = QPushButton("Plan")
        self.search.setDefault(True)
        self.search.clicked.connect(self.start)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Cancel)
        self.take = buttons.addButton("Use this recipe", QDialogButtonBox.ButtonRole.AcceptRole)
        self.take.setEnabled(False)
        buttons.accepted.connect(self._take)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addLayout(form)
        column.addWidget(self.search)
        column.addWidget(self.fault)
        column.addWidget(self.told, 1)
        column.addWidget(buttons)
        queued = Qt.ConnectionType.QueuedConnection
        self.planned.connect(self._show, queued)
        self.failed.connect(self._show_fault, queued)

    def start(self) -> None:
        """Search, in a thread of its own: it takes seconds."""
        self.search.setEnabled(False)
        self.take.setEnabled(False)
        self.fault.setText("Searching …")
        self.told.clear()
        texts = {name: field.text().strip() for name, field in self.fields.items()}
        threading.Thread(target=self._search, args=(texts, self.examine.isChecked()), name="plan", daemon=True).start()

    def _search(self, texts: dict[str, str], examine: bool) -> None:
        try:
            learnt = self._learnt(texts.pop("from-run"))
            wish = wish_of(texts, BudgetPlan(self._card), load_limits(), learnt, examine=examine)
            found = plan(wish)
        except BenchError as error:
            self.failed.emit(str(error))
        else:
            self.planned.emit(wish, found, learnt)

    def _learnt(self, number: str) -> Learnt | None:
        if not number:
            return None
        if not number.isdigit():
            raise InputError(Fault("no number of a run", number, "Write for example 3", field="Noise as in run"))
        run = open_run(self._logbook, int(number))
        columns = run.record.readings
        t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
        return learn(run.recipe, t, I, V, f"run {number}")

    def _show(self, wish: Wish, found: Plan, learnt: Learnt | None) -> None:
        self.search.setEnabled(True)
        self.fault.setText("")
        self.told.setPlainText("\n".join(plan_in_words(wish, found, learnt)))
        self._proposed = found.proposals[0].recipe if found.proposals else None
        self.take.setEnabled(self._proposed is not None)

    def _show_fault(self, text: str) -> None:
        self.search.setEnabled(True)
        self.fault.setText(text)

    def _take(self) -> None:
        self.recipe = self._proposed
        self.accept()
