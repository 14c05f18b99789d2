"""Studies: those in the logbook with their conclusion and picture, a new one, and what it found taken over."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QListWidget,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from benchapp.errors import BenchError
from benchapp.study.conclusion import Conclusion
from benchapp.study.kinds import KINDS
from benchapp.study.recorded import RecordedStudy, conclude, studies
from benchapp.study.words import conclusion_in_words
from benchapp.ui.plots.study_plot import StudyPlot
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import plain_label

_LOGARITHMIC = ("noise-floor",)


class StudyDialog(QDialog):
    """Leaves the window usable: the runs go on there.

    Signals:
        start_wanted: a kind of study.
        apply_wanted: keys of the recipe with their new texts.
    """

    start_wanted = Signal(str)
    apply_wanted = Signal(object)

    def __init__(self, theme: Theme, logbook: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Studies")
        self.resize(980, 640)
        self._logbook = logbook
        self._studies: list[RecordedStudy] = []
        self._found: Conclusion | None = None
        self.kind = QComboBox()
        self.kind.addItems(list(KINDS))
        self.kind.setAccessibleName("kind of study")
        self.about = plain_label()
        self.about.setWordWrap(True)
        self.kind.currentTextChanged.connect(lambda name: self.about.setText(KINDS[name].about))
        self.about.setText(KINDS[self.kind.currentText()].about)
        self.start = QPushButton("Start")
        self.start.setAutoDefault(False)
        self.start.clicked.connect(lambda: self.start_wanted.emit(self.kind.currentText()))
        head = QHBoxLayout()
        head.addWidget(self.kind)
        head.addWidget(self.about, 1)
        head.addWidget(self.start)
        self.message = plain_label()
        self.message.setWordWrap(True)
        self.list = QListWidget()
        self.list.setFixedWidth(230)
        self.list.setAccessibleName("studies in the logbook")
        self.list.currentRowChanged.connect(self._show_row)
        self.told = QPlainTextEdit()
        self.told.setReadOnly(True)
        self.told.setAccessibleName("conclusion")
        self.plot = StudyPlot(theme)
        right = QVBoxLayout()
        right.addWidget(self.plot, 3)
        right.addWidget(self.told, 2)
        middle = QHBoxLayout()
        middle.addWidget(self.list)
        middle.addLayout(right, 1)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        self.apply = buttons.addButton("Apply to the recipe", QDialogButtonBox.ButtonRole.ActionRole)
        self.apply.setEnabled(False)
        self.apply.clicked.connect(self._apply)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addLayout(head)
        column.addWidget(self.message)
        column.addLayout(middle, 1)
        column.addWidget(buttons)
        self.refresh()

    def show_finished(self, study_id: int) -> None:
        """A study has all its runs."""
        self.message.setText(f"Study {study_id} has all its runs")
        self.refresh(study_id)

    def refresh(self, chosen: int | None = None) -> None:
        """The studies of the logbook; one of them chosen, else the last."""
        try:
            self._studies = studies(self._logbook) if self._logbook.exists() else []
        except BenchError as error:
            self.message.setText(str(error))
            self._studies = []
        self.list.clear()
        for one in self._studies:
            state = "" if one.whole else f", {len(one.runs)} of {one.of} runs"
            self.list.addItem(f"{one.study_id}  {one.kind}{state}")
        numbers = [one.study_id for one in self._studies]
        if numbers:
            self.list.setCurrentRow(numbers.index(chosen) if chosen in numbers else len(numbers) - 1)

    def _show_row(self, row: int) -> None:
        self._found = None
        self.apply.setEnabled(False)
        if not 0 <= row < len(self._studies):
            self.told.clear()
            self.plot.show_picture(None)
            return
        study = self._studies[row]
        try:
            found = conclude(self._logbook, study)
        except BenchError as error:
            self.told.setPlainText(str(error))
            self.plot.show_picture(None)
            return
        self._found = found
        self.told.setPlainText("\n".join(conclusion_in_words(study.study_id, found)))
        self.plot.show_picture(found.picture, KINDS[study.kind].axes, logarithmic=study.kind in _LOGARITHMIC)
        self.apply.setEnabled(bool(found.changes) and found.tells)

    def _apply(self) -> None:
        if self._found is not None:
            self.apply_wanted.emit(dict(self._found.changes))
