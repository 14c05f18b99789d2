"""What a check of leads and contacts has found: a line a test, where it points, and what to do."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from benchapp.check.finding import Finding, State
from benchapp.result.validity import Effect
from benchapp.ui.widgets.controls import plain_label, tip

_MARKS = {State.OK: "✓", State.FAILS: "✗", State.WAITS: "…", State.NOT_TESTED: "–"}
_COLUMNS = ("", "test", "what was seen", "limit", "where, and what to do")


class CheckDialog(QDialog):
    """Shown while the check goes on, and after it. Closing it stops a check that is under way.

    Signals:
        stop_wanted: the operator ends the check.
    """

    stop_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Check at 1 % of the current")
        self.resize(1080, 640)
        self.summary = plain_label("The output goes on at 1 % of the current, for a few seconds. Esc switches it off.")
        self.summary.setWordWrap(True)
        self.table = QTableWidget(0, len(_COLUMNS))
        self.table.setHorizontalHeaderLabels(list(_COLUMNS))
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        for number in range(len(_COLUMNS)):
            wide = number in (2, 4)
            mode = QHeaderView.ResizeMode.Stretch if wide else QHeaderView.ResizeMode.ResizeToContents
            header.setSectionResizeMode(number, mode)
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.table.setWordWrap(True)
        self.buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        self.buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addWidget(self.summary)
        column.addWidget(self.table, 1)
        column.addWidget(self.buttons)

    def reject(self) -> None:
        """Close; what is under way ends."""
        self.stop_wanted.emit()
        super().reject()

    def show_found(self, found: list[Finding] | str) -> None:
        """The findings, or why there are none."""
        if isinstance(found, str):
            self.summary.setText(found)
            return
        shut = [one.name for one in found if one.effect is Effect.NOT_VALID]
        doubts = [one.name for one in found if one.effect is Effect.DOUBTFUL]
        told = "A run may start."
        if shut:
            told = f"A run would not be valid: {', '.join(shut)}."
        elif doubts:
            told = f"A run may start, and may be doubtful: {', '.join(doubts)}."
        self.summary.setText(f"{told} The output is off.")
        self.table.setRowCount(len(found))
        for row, one in enumerate(found):
            fails = one.state is State.FAILS
            remedy = f"{one.where}: {one.remedy}" if fails and one.where else one.remedy if fails else ""
            for column, text in enumerate((_MARKS[one.state], one.name, one.figure, one.limit, remedy)):
                item = QTableWidgetItem(text)
                item.setToolTip(tip(text))
                self.table.setItem(row, column, item)
        self.table.resizeRowsToContents()
