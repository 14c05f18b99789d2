"""The Study stage: a new study by its question, or one of the logbook with its picture and what it concludes."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QListWidget, QStackedWidget, QVBoxLayout, QWidget

from benchapp.errors import BenchError
from benchapp.study.conclusion import Conclusion
from benchapp.study.kinds import KINDS
from benchapp.study.recorded import RecordedStudy, conclude, studies
from benchapp.ui.models import RecipeModel
from benchapp.ui.plots.study_plot import StudyPlot
from benchapp.ui.study.figures import Figures
from benchapp.ui.study.kind_list import KindList
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label, scrolled, title

_LOGARITHMIC = ("noise-floor",)
_SIDE_WIDTH = 368


class StudyStage(QWidget):
    """The runs of a study go on on the Measure stage.

    Signals:
        start_wanted: a kind of study.
        apply_wanted: keys of the recipe with their new texts.
    """

    start_wanted = Signal(str)
    apply_wanted = Signal(object)

    def __init__(self, theme: Theme, logbook: Path, recipe: RecipeModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._logbook, self._recipe = theme, logbook, recipe
        self._studies: list[RecordedStudy] = []
        self._found: Conclusion | None = None
        row = QHBoxLayout(self)
        row.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        row.setSpacing(24)
        row.addLayout(self._build_left(), 1)
        row.addLayout(self._build_side())
        self.kinds.chosen.connect(lambda _: self._show_row(self.list.currentRow()))
        recipe.changed.connect(self._show_what_is)
        self._show_what_is()

    def _build_left(self) -> QVBoxLayout:
        self._note = faint()
        self._note.setFont(font(13))
        head = QHBoxLayout()
        self._title = title("Study")
        head.addWidget(self._title)
        head.addSpacing(16)
        head.addWidget(self._note)
        head.addStretch(1)
        self.kinds, self.plot = KindList(), StudyPlot(self._theme)
        self.told = plain_label()
        self.told.setWordWrap(True)
        self.told.setAccessibleName("conclusion")
        seen = QWidget()
        inside = QVBoxLayout(seen)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.addWidget(self.plot, 1)
        inside.addWidget(self.told)
        self._pages = QStackedWidget()
        self._pages.addWidget(scrolled(self.kinds, "kinds"))
        self._pages.addWidget(seen)
        column = QVBoxLayout()
        column.setSpacing(12)
        column.addLayout(head)
        column.addWidget(self._pages, 1)
        return column

    def _build_side(self) -> QVBoxLayout:
        card = QFrame()
        card.setObjectName("card")
        card.setFixedWidth(_SIDE_WIDTH)
        self.list = QListWidget()
        self.list.setAccessibleName("a new study, and those in the logbook")
        self.list.setFrameShape(QFrame.Shape.NoFrame)
        self.list.currentRowChanged.connect(self._show_row)
        self.figures = Figures(self._theme)
        inside = QVBoxLayout(card)
        inside.setContentsMargins(16, 8, 16, 12)
        self._figures_shown = scrolled(self.figures, "figures")
        self.list.setMinimumHeight(60)
        inside.addWidget(self._figures_shown, 3)
        inside.addWidget(Heading("Studies"))
        inside.addWidget(self.list, 2)
        self.message = plain_label()
        self.message.setWordWrap(True)
        inside.addWidget(self.message)
        self.main = KeyButton(
            self._theme, "Start this study", "Ctrl+Return", self.main_pressed, self, main=True, typed=False
        )
        self.new = KeyButton(self._theme, "New study", "Ctrl+R", self._show_new, self, typed=False)
        side = QVBoxLayout()
        side.setSpacing(8)
        side.addWidget(card, 1)
        side.addWidget(self.main)
        side.addWidget(self.new)
        return side

    # What the operator does.

    def main_pressed(self) -> None:
        """Start the chosen kind, or apply what the shown study found: what the main button says."""
        if self._chosen is None:
            self.start_wanted.emit(self.kinds.kind)
        elif self._found is not None and self.can_apply:
            self.apply_wanted.emit(dict(self._found.changes))

    @property
    def can_apply(self) -> bool:
        """Whether the study that is shown found something to be applied."""
        return self._found is not None and bool(self._found.changes) and self._found.tells

    def _show_new(self) -> None:
        self.list.setCurrentRow(0)

    # Showing.

    def show_finished(self, study_id: int) -> None:
        """A study has all its runs."""
        self.message.setText(f"Study {study_id} has all its runs")
        self.refresh(study_id)

    def refresh(self, chosen: int | None = None) -> None:
        """A new one on top, then the studies of the logbook, the latest first; one of them chosen, else the new one."""
        try:
            self._studies = list(reversed(studies(self._logbook))) if self._logbook.exists() else []
        except BenchError as error:
            self.message.setText(str(error))
            self._studies = []
        self.list.blockSignals(True)
        self.list.clear()
        self.list.addItem("New study")
        for one in self._studies:
            state = "" if one.whole else f", {len(one.runs)} of {one.of} runs"
            self.list.addItem(f"{one.study_id}  {one.kind.replace('-', ' ')}{state}")
        self.list.blockSignals(False)
        numbers = [one.study_id for one in self._studies]
        self.list.setCurrentRow(numbers.index(chosen) + 1 if chosen in numbers else 0)

    @property
    def _chosen(self) -> RecordedStudy | None:
        row = self.list.currentRow() - 1
        return self._studies[row] if 0 <= row < len(self._studies) else None

    def _show_row(self, _: int) -> None:
        study, self._found = self._chosen, None
        if study is None:
            self._pages.setCurrentIndex(0)
            self._title.setText("Study")
            ready = self._recipe.recipe is not None
            told = "one question, and what follows for the recipe" if ready else "the recipe has faults: see Specimen"
            self._note.setText(told)
        else:
            self._pages.setCurrentIndex(1)
            self._title.setText(study.kind.replace("-", " ").capitalize())
            self._note.setText(f"study {study.study_id}, {KINDS[study.kind].question}")
            self._conclude(study)
        self._show_what_is()

    def _conclude(self, study: RecordedStudy) -> None:
        try:
            self._found = conclude(self._logbook, study)
        except BenchError as error:
            self.told.setText(str(error))
            self.plot.show_picture(None)
            return
        self.told.setText(self._found.text)
        self.plot.show_picture(self._found.picture, KINDS[study.kind].axes, logarithmic=study.kind in _LOGARITHMIC)

    def _show_what_is(self) -> None:
        self.figures.show_conclusion(self._found, self._recipe.texts)
        self._figures_shown.setVisible(self._found is not None)
        new = self._chosen is None
        self.main.setText("Start this study" if new else "Apply to the recipe")
        self.main.setEnabled(self._recipe.recipe is not None if new else self.can_apply)
        self.new.setVisible(not new)
