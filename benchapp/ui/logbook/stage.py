"""The Logbook stage: the list with its search, and the run that was opened."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QStackedWidget,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from benchapp.errors import BenchError
from benchapp.files import replacing
from benchapp.logbook.export import export_csv, export_json
from benchapp.logbook.query import listing
from benchapp.logbook.search import Search
from benchapp.result.words import plural
from benchapp.run.recorded import RecordedRun, conclude_run, open_run
from benchapp.ui.logbook.filters import FilterRow
from benchapp.ui.logbook.run_list import ROW_HEIGHT, WIDTHS, RunDelegate, RunListModel
from benchapp.ui.logbook.run_view import RunView
from benchapp.ui.logbook.sparklines import Sparklines
from benchapp.ui.theme import MARGIN, Theme
from benchapp.ui.widgets.controls import KeyButton, faint, title

_ROOM_FOR_ALL, _LEFT_OUT = 1100, (4, 5)  # blocks and ruler


class LogbookStage(QWidget):
    """Reads the logbook; writes to it only to conclude an interrupted run.

    Signals:
        repeat_wanted: measure again with the recipe of a run (as its TOML text).
    """

    repeat_wanted = Signal(str)

    def __init__(self, theme: Theme, logbook: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._logbook = theme, logbook
        self.model = RunListModel()
        self._sparklines = Sparklines(logbook, self)
        self._sparklines.ready.connect(lambda _: self.table.viewport().update())
        self._run: RecordedRun | None = None
        self._pages = QStackedWidget()
        self._pages.addWidget(self._build_list())
        self._pages.addWidget(self._build_view())
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, 10, MARGIN, MARGIN)
        column.addWidget(self._pages)
        self.model.modelReset.connect(self._update_buttons)

    # Building.

    def _build_list(self) -> QWidget:
        page = QWidget()
        self._count = faint()
        self.search = QLineEdit()
        self.search.setPlaceholderText("word, number or date (Ctrl+L)")
        self.search.setAccessibleName("search the logbook")
        self.search.setFixedWidth(320)
        self.search.textChanged.connect(self.model.search)
        find = QShortcut(QKeySequence("Ctrl+L"), page)
        find.activated.connect(self.search.setFocus)
        self.filters = FilterRow(self._theme)
        self.filters.changed.connect(self._filter)
        head = QHBoxLayout()
        head.addWidget(title("Logbook"))
        head.addSpacing(16)
        head.addWidget(self._count)
        head.addStretch(1)
        head.addWidget(self.search)
        self.table = QTableView()
        self.table.setModel(self.model)
        self.table.setItemDelegate(RunDelegate(self._theme, self._sparklines, self.table))
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setShowGrid(False)
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
        self.table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for place, width in enumerate(WIDTHS):
            self.table.setColumnWidth(place, width)
        self.table.horizontalHeader().setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.table.horizontalHeader().setHighlightSections(False)
        self.table.doubleClicked.connect(self.open_selected)
        self.table.selectionModel().selectionChanged.connect(self._update_buttons)
        self.table.setAccessibleName("runs")
        self._message = faint()
        self._message.setWordWrap(True)
        self._open = KeyButton(self._theme, "Open", "Ctrl+O", self.open_selected, page, main=True)
        self._conclude = KeyButton(self._theme, "Conclude", "Ctrl+Shift+K", self.conclude_selected, page)
        buttons = QHBoxLayout()
        buttons.setSpacing(8)
        buttons.addWidget(self._open)
        buttons.addWidget(KeyButton(self._theme, "Repeat", "Ctrl+R", self.repeat_selected, page))
        buttons.addWidget(KeyButton(self._theme, "Export CSV…", "Ctrl+S", self._ask("csv"), page))
        buttons.addWidget(KeyButton(self._theme, "Export JSON…", "Ctrl+Shift+S", self._ask("json"), page))
        buttons.addWidget(KeyButton(self._theme, "Report…", "Ctrl+P", self._ask("pdf"), page))
        buttons.addWidget(self._conclude)
        buttons.addStretch(1)
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(head)
        column.addWidget(self.filters)
        column.addWidget(self.table, 1)
        column.addWidget(self._message)
        column.addLayout(buttons)
        return page

    def _build_view(self) -> QWidget:
        page = QWidget()
        self.view = RunView(self._theme)
        self._overlaid = faint()
        buttons = QHBoxLayout()
        buttons.setSpacing(8)
        buttons.addWidget(KeyButton(self._theme, "Back to the list", "Alt+Left", self.back, page, main=True))
        buttons.addWidget(KeyButton(self._theme, "Overlay the run before", "Ctrl+K", self.overlay_previous, page))
        buttons.addWidget(KeyButton(self._theme, "Report…", "Ctrl+P", self._ask("pdf"), page))
        buttons.addWidget(KeyButton(self._theme, "State it once more…", "Ctrl+Shift+R", self.ask_reanalysis, page))
        buttons.addWidget(KeyButton(self._theme, "Export CSV…", "Ctrl+S", self._ask("csv"), page))
        buttons.addWidget(KeyButton(self._theme, "Export JSON…", "Ctrl+Shift+S", self._ask("json"), page))
        buttons.addStretch(1)
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view, 1)
        column.addWidget(self._overlaid)
        column.addLayout(buttons)
        return page

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Without what the verdict says as well, where there is no room."""
        narrow = event.size().width() < _ROOM_FOR_ALL
        for column in _LEFT_OUT:
            self.table.setColumnHidden(column, narrow)

    # What the operator does.

    def refresh(self) -> None:
        """Read the list again, keeping the selection."""
        before = self.selected_id
        if not self._logbook.is_file():
            self._message.setText("Nothing has been measured yet: every run will stand here by itself.")
            self.model.take([])
            return
        try:
            found = listing(self._logbook)
            self.model.take(found.runs)
            self.filters.show_names(self.model.names)
            self._message.setText(f"The file is damaged: {found.fault}. Take a whole copy." if found.fault else "")
        except BenchError as error:
            self._message.setText(str(error))
        rows = [row.summary.run_id for row in self.model.rows]
        if rows:
            self.table.selectRow(rows.index(before) if before in rows else 0)

    def _filter(self, chosen: Search) -> None:
        self.model.show_only(lambda row: chosen.lets(row.summary))
        if self.model.rows:
            self.table.selectRow(0)

    @property
    def selected_id(self) -> int | None:
        """The run that is selected."""
        row = self.table.currentIndex().row()
        return self.model.rows[row].summary.run_id if 0 <= row < len(self.model.rows) else None

    def open_selected(self) -> None:
        """Show the selected run as it was live."""
        self._with_selected(lambda run_id: self._show(open_run(self._logbook, run_id)))

    def conclude_selected(self) -> None:
        """Give an interrupted run its end."""

        def conclude(run_id: int) -> None:
            conclude_run(self._logbook, run_id)
            self.refresh()
            self._message.setText(f"run {run_id} is concluded; its result is that of all its readings")

        self._with_selected(conclude)

    def repeat_selected(self) -> None:
        """Take the run's recipe to the Measure stage."""
        self._with_selected(
            lambda run_id: self.repeat_wanted.emit(open_run(self._logbook, run_id).record.summary.recipe_toml)
        )

    def overlay_previous(self) -> None:
        """Lay the run before the open one over it; once more takes it away."""
        if self._run is None:
            return
        if self._overlaid.text():
            self.view.overlay(None)
            self._overlaid.setText("")
            return
        earlier = [r.summary.run_id for r in self.model.rows if r.summary.run_id < self._run.record.summary.run_id]
        if not earlier:
            return
        try:
            other = open_run(self._logbook, max(earlier))
        except BenchError as error:
            self._overlaid.setText(str(error))
            return
        self.view.overlay(other)
        self._overlaid.setText(f"over it: run {max(earlier)}, {other.recipe.name}, its mean dashed")

    def ask_reanalysis(self) -> None:
        """Another statement of the open run; both are kept."""
        if self._run is None:
            return
        from benchapp.ui.logbook.reanalyse_dialog import ReanalyseDialog

        dialog = ReanalyseDialog(self._logbook, self._run, self)
        if dialog.exec():
            self._show(open_run(self._logbook, self._run.record.summary.run_id))

    def back(self) -> None:
        """To the list."""
        self._pages.setCurrentIndex(0)
        self._run = None
        self.refresh()

    def export(self, path: Path) -> None:
        """The open or selected run by the file's name: .csv and .json as they are analysed, .pdf and .html to read."""
        run_id = self._run.record.summary.run_id if self._run is not None else self.selected_id
        if run_id is None:
            return
        try:
            if path.suffix in (".pdf", ".html"):
                from benchapp.report.write import write_report

                write_report(self._logbook, run_id, path)
                self._message.setText(f"the report of run {run_id} is in {path}")
                return
            with replacing(path, "export", [self._logbook]) as stream:
                (export_json if path.suffix == ".json" else export_csv)(self._logbook, run_id, stream)
        except BenchError as error:
            self._message.setText(str(error))
        else:
            self._message.setText(f"run {run_id} is in {path}")

    def _ask(self, kind: str) -> Callable[[], None]:
        def ask() -> None:
            run_id = self._run.record.summary.run_id if self._run is not None else self.selected_id
            forms = "*.pdf;;*.html" if kind == "pdf" else f"*.{kind}"
            name, _ = QFileDialog.getSaveFileName(self, "Export", f"run-{run_id}.{kind}", forms)
            if name:
                known = name.endswith((f".{kind}", ".html")) if kind == "pdf" else name.endswith(f".{kind}")
                self.export(Path(name if known else f"{name}.{kind}"))

        return ask

    def _with_selected(self, act: Callable[[int], None]) -> None:
        run_id = self.selected_id
        if run_id is None:
            return
        try:
            act(run_id)
        except BenchError as error:
            self._message.setText(str(error))

    def _show(self, run: RecordedRun) -> None:
        self._run = run
        self._overlaid.setText("")
        self.view.overlay(None)
        self.view.show_run(run)
        self._pages.setCurrentIndex(1)

    def _update_buttons(self) -> None:
        shown, total = len(self.model.rows), self.model.total
        self._count.setText(plural(total, "run") if shown == total else f"{shown} of {plural(total, 'run')}")
        row = self.table.currentIndex().row()
        status = self.model.rows[row].summary.status if 0 <= row < len(self.model.rows) else ""
        concludable = status == "interrupted" and not self.model.rows[row].summary.ended
        self._conclude.setVisible(concludable)
        self._open.setEnabled(bool(status))
