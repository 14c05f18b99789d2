"""Check or probe one instrument, with the conversation beside it. Nothing here switches an output on."""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QPlainTextEdit,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from benchapp.bench.check import check_instrument, probe_instrument
from benchapp.errors import InputError
from benchapp.files import replacing
from benchapp.host.order import BenchChoice
from benchapp.ui.theme import font
from benchapp.ui.widgets.controls import faint, plain_label, tip
from drivers.dialect import load_dialect
from drivers.errors import AddressError, DialectError, InstrumentError
from drivers.probe import dialect_text

_MOST_LINES = 5000
_MARKS = {"works": "✓", "proved": "✓", "unverified": "?", "missing": "–", "fails": "✗"}


class InstrumentDialog(QDialog):
    """One instrument at a time, by its role.

    Signals:
        said: a line of the conversation.
        going_on: what a probe is doing, how many things are done, and of how many.
        found: what was found: a sentence, rows of (capability, state, seen), and a dialect's text or "".
        dialect_saved: role and path of a dialect file that was written.
    """

    said = Signal(str)
    going_on = Signal(str, int, int)
    found = Signal(str, list, str)
    dialect_saved = Signal(str, str)

    def __init__(self, choice: BenchChoice, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Check or probe an instrument")
        self.resize(980, 620)
        self._choice = choice
        self._dialect = ""
        self.role = QComboBox()
        self.role.addItems(["source", "voltmeter"])
        self.role.setAccessibleName("instrument")
        self.summary = plain_label("Check tries each capability of the chosen dialect. Probe finds out how it speaks.")
        self.summary.setWordWrap(True)
        self.table = QTableWidget(0, 3)
        self.table.setHorizontalHeaderLabels(["capability", "state", "what was seen"])
        self.table.horizontalHeader().setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.table.horizontalHeader().setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.table.setWordWrap(True)
        self.log = QPlainTextEdit()
        self.log.setReadOnly(True)
        self.log.setMaximumBlockCount(_MOST_LINES)
        self.log.setFont(font(12))
        self.log.setAccessibleName("conversation with the instrument")
        self._buttons = QHBoxLayout()
        self.check = self._button("Check", self.start_check)
        self.probe = self._button("Probe", self.start_probe)
        self.save = self._button("Save dialect …", self.choose_file)
        self.save.setEnabled(False)
        self._buttons.addStretch(1)
        self._button("Close", self.close)
        column = QVBoxLayout(self)
        head = QHBoxLayout()
        head.addWidget(self.role)
        head.addWidget(self.summary, 1)
        column.addLayout(head)
        column.addWidget(self.table, 3)
        column.addWidget(faint("conversation"))
        column.addWidget(self.log, 2)
        column.addLayout(self._buttons)
        queued = Qt.ConnectionType.QueuedConnection
        self.said.connect(self.log.appendPlainText, queued)
        self.found.connect(self._show, queued)
        self.going_on.connect(self._show_progress, queued)

    def _button(self, text: str, act: Callable[[], object]) -> QPushButton:
        button = QPushButton(text)
        button.setAutoDefault(False)
        button.clicked.connect(act)
        self._buttons.addWidget(button)
        return button

    # What the operator does.

    def start_check(self) -> None:
        """Try each capability."""
        self._start(self._check)

    def start_probe(self) -> None:
        """Find out how it speaks."""
        self._start(self._probe)

    def choose_file(self) -> None:
        """Where the dialect goes."""
        path, _ = QFileDialog.getSaveFileName(self, "Save dialect", f"my_{self.role.currentText()}.toml", "(*.toml)")
        if path:
            self.save_to(Path(path))

    def save_to(self, path: Path) -> None:
        """Write the dialect that the probe made, and use it from now on."""
        try:
            with replacing(path, "dialect") as stream:
                stream.write(self._dialect)
        except InputError as error:
            self.summary.setText(str(error))
            return
        self.summary.setText(f"Written to {path}, and in use from now on.")
        self.dialect_saved.emit(self.role.currentText(), str(path))

    # The work, in a thread of its own.

    def _start(self, work: Callable[[str], None]) -> None:
        self.log.clear()
        self.table.setRowCount(0)
        self.summary.setText("At work …")
        for button in (self.check, self.probe, self.save):
            button.setEnabled(False)
        role = self.role.currentText()
        threading.Thread(target=self._guarded, args=(work, role), name="instrument", daemon=True).start()

    def _guarded(self, work: Callable[[str], None], role: str) -> None:
        try:
            work(role)
        except (InstrumentError, AddressError, DialectError) as error:
            self.found.emit(str(error), [], "")
        except Exception:  # noqa: BLE001  the outermost net of this thread: the dialog must not wait for ever
            self.found.emit(f"an internal error: {traceback.format_exc()}", [], "")

    def _check(self, role: str) -> None:
        address, name = self._of(role)
        identity, rows, notices = check_instrument(role, address, load_dialect(name, role), self._note)
        count = {
            state: sum(row.state == state for row in rows) for state in ("works", "unverified", "missing", "fails")
        }
        text = (
            f"{identity}: {count['works']} work, {count['unverified']} cannot be proved with the output off,"
            f" {count['missing']} missing, {count['fails']} fail. {' '.join(notices)}"
        )
        self.found.emit(text.strip(), [(row.name, row.state, row.seen) for row in rows], "")

    def _probe(self, role: str) -> None:
        address, _ = self._of(role)
        report = probe_instrument(role, address, transcript=self._note, progress=self.going_on.emit)
        rows = [(f.name, f.status, f.evidence) for f in report.findings]
        rows += [(name, "missing", "not answered in any usual spelling") for name in report.missing]
        text = f"{report.identity}: {report.messages} messages in {report.seconds:.1f} s. {' '.join(report.notes)}"
        self.found.emit(text.strip(), rows, dialect_text(report, f"probed-{role}"))

    def _of(self, role: str) -> tuple[str, str]:
        c = self._choice
        address = c.source if role == "source" else c.voltmeter
        dialect = c.source_dialect if role == "source" else c.voltmeter_dialect
        return address.strip(), dialect.strip() or "scpi"

    def _note(self, _resource: str, direction: str, message: str) -> None:
        self.said.emit(f"{direction} {message}")

    def _show_progress(self, doing: str, done: int, of: int) -> None:
        self.summary.setText(f"Probing: {doing} ({done + 1} of {of})")

    def _show(self, text: str, rows: list[tuple[str, str, str]], dialect: str) -> None:
        self.summary.setText(text)
        self._dialect = dialect
        self.table.setRowCount(len(rows))
        for line, (name, state, seen) in enumerate(rows):
            for column, cell in enumerate((name, f"{_MARKS.get(state, '')} {state}", seen)):
                item = QTableWidgetItem(cell)
                item.setToolTip(tip(cell))
                self.table.setItem(line, column, item)
        self.table.resizeColumnToContents(0)
        self.table.resizeColumnToContents(1)
        for button in (self.check, self.probe):
            button.setEnabled(True)
        self.save.setEnabled(bool(dialect))
