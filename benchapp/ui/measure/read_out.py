"""The read-out: the result alone, to be read from across the room with the probes in both hands."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from benchapp.ui.presentation import ShownResult
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import KeyButton, plain_label
from benchapp.ui.widgets.number import BigNumber
from benchapp.ui.widgets.output_plate import OutputPlate
from benchapp.ui.widgets.painting import Painted
from benchapp.ui.widgets.ruler import ToleranceRuler
from benchapp.ui.widgets.verdict import VerdictLight

_WIDTH, _HEIGHT = 1280, 800  # for which the sizes are meant


class ReadOut(Painted):
    """Shows what the Measure stage shows, larger.

    Signals:
        left: back to the stage.
        main_wanted: what the stage's main button does.
    """

    left = Signal()
    main_wanted = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._title = plain_label()
        self._title.setFont(font(22, bold=True))
        self._run = plain_label()
        self._run.setFont(font(20))
        self._number = BigNumber(theme, 200)
        self._ruler = ToleranceRuler(theme, scale=1.6)
        self._verdict = VerdictLight(theme, scale=1.9)
        self._interval = plain_label()
        self._interval.setFont(font(32))
        self._state = plain_label()
        self._state.setFont(font(22))
        self._state.setWordWrap(True)
        self._state.setMinimumWidth(520)
        for label in (self._interval, self._state):
            label.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.plate = OutputPlate(theme)
        self._main = KeyButton(theme, "Start", "", self.main_wanted.emit, self, main=True, typed=False)
        self._main.setStyleSheet("min-height: 62px; min-width: 260px; font-size: 22px;")
        self._back = KeyButton(theme, "Back", "Ctrl+F", self.left.emit, self)
        self._back.setStyleSheet("min-height: 62px; min-width: 130px; font-size: 18px;")
        self._build()

    def _build(self) -> None:
        head, words, middle, foot = QHBoxLayout(), QVBoxLayout(), QHBoxLayout(), QHBoxLayout()
        head.addWidget(self._title)
        head.addStretch(1)
        head.addWidget(self._run)
        words.addWidget(self._interval)
        words.addWidget(self._state)
        middle.addWidget(self._verdict)
        middle.addStretch(1)
        middle.addLayout(words)
        foot.addWidget(self.plate)
        foot.addStretch(1)
        foot.addWidget(self._back)
        foot.addWidget(self._main)
        column = QVBoxLayout(self)
        column.setContentsMargins(40, 24, 40, 16)
        column.addLayout(head)
        column.addStretch(1)
        column.addWidget(self._number)
        column.addStretch(1)
        column.addWidget(self._ruler)
        column.addStretch(1)
        column.addLayout(middle)
        column.addStretch(1)
        column.addLayout(foot)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """All of it as large as the window lets it be."""
        scale = min(1.5, max(0.5, min(event.size().width() / _WIDTH, event.size().height() / _HEIGHT)))
        self._number.set_size(200 * scale)
        self._ruler.set_scale(1.6 * scale)
        self._verdict.set_scale(1.9 * scale)
        self._title.setFont(font(22 * scale, bold=True))
        self._run.setFont(font(20 * scale))
        self._interval.setFont(font(32 * scale))
        self._state.setFont(font(22 * scale))
        self._state.setMinimumWidth(round(520 * scale))
        for button, width, size in ((self._main, 260, 22), (self._back, 130, 18)):
            high, wide, large = (round(value * scale) for value in (62, width, size))
            button.setStyleSheet(f"min-height: {high}px; min-width: {wide}px; font-size: {max(14, large)}px;")

    def show_result(self, shown: ShownResult, title: str, run: str) -> None:
        """The result as presented."""
        self._title.setText(title)
        self._run.setText(run)
        self._number.show_result(shown)
        self._ruler.set_reading(shown.ruler)
        self._verdict.show_result(shown)
        self._interval.setText(shown.interval)
        self._state.setText(shown.basis)

    def set_main(self, text: str, *, enabled: bool) -> None:
        """The main button as the stage has it."""
        self._main.setText(text)
        self._main.setEnabled(enabled)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The surface, so that nothing shines through."""
        with QPainter(self) as painter:
            painter.fillRect(self.rect(), self.colour("surface"))
