"""Which runs the list shows: each filter is a word, and shows that it is on."""

from __future__ import annotations

from datetime import datetime, timedelta

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QWidget

from benchapp.logbook.search import Search
from benchapp.result.flag_words import FLAG_WORDS
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.controls import KeyButton, faint

_SINCE = {"any time": None, "today": 0, "last 7 days": 7, "last 30 days": 30, "last 365 days": 365}
_VERDICTS = {"any": "", "not valid": "not-valid", "no limits": "none"}  # the others are called the same
_WORDS = ("any", "pass", "fail", "undecided", "doubtful", "not valid", "no limits")
_FLAGS = {words.short: code for code, words in FLAG_WORDS.items()}


class FilterRow(QWidget):
    """Four choices and a way back to everything.

    Signals:
        changed: a Search.
    """

    changed = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(8)
        self.specimen = self._choice(row, "specimen", ("any",))
        self.verdict = self._choice(row, "verdict", _WORDS)
        self.since = self._choice(row, "since", tuple(_SINCE))
        self.flag = self._choice(row, "said", ("anything", *_FLAGS))
        self.all = KeyButton(theme, "Show all", "", self.clear, self)
        row.addWidget(self.all)
        row.addStretch(1)
        self._show_which()

    def _choice(self, row: QHBoxLayout, name: str, words: tuple[str, ...]) -> QComboBox:
        box = QComboBox()
        box.setAccessibleName(f"show only: {name}")
        box.addItems(list(dict.fromkeys(words)))
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setMinimumContentsLength(12)
        box.currentIndexChanged.connect(self._changed)
        row.addWidget(faint(name))
        row.addWidget(box)
        return box

    def show_names(self, names: list[str]) -> None:
        """The specimens that there are; the chosen one stays."""
        if [self.specimen.itemText(k) for k in range(1, self.specimen.count())] == names:
            return
        chosen = self.specimen.currentText()
        self.specimen.blockSignals(True)
        self.specimen.clear()
        self.specimen.addItems(["any", *names])
        self.specimen.setCurrentIndex(max(0, self.specimen.findText(chosen)))
        self.specimen.blockSignals(False)

    def clear(self) -> None:
        """Everything is shown."""
        for box in (self.specimen, self.verdict, self.since, self.flag):
            box.setCurrentIndex(0)

    @property
    def search(self) -> Search:
        """What is chosen."""
        verdict, days = self.verdict.currentText(), _SINCE[self.since.currentText()]
        since = "" if days is None else (datetime.now().astimezone() - timedelta(days=days)).date().isoformat()
        return Search(
            name=self.specimen.currentText() if self.specimen.currentIndex() > 0 else "",
            verdict=_VERDICTS.get(verdict, verdict),
            flag=_FLAGS.get(self.flag.currentText(), ""),
            since=since,
        )

    def _changed(self) -> None:
        self._show_which()
        self.changed.emit(self.search)

    def _show_which(self) -> None:
        """What is on stands out: a filter that one forgets hides runs."""
        on = False
        for box in (self.specimen, self.verdict, self.since, self.flag):
            box.setProperty("on", box.currentIndex() > 0)
            box.style().unpolish(box)
            box.style().polish(box)
            on = on or box.currentIndex() > 0
        self.all.setVisible(on)
