"""Which picture of the voltage is shown: four words beside its name, walked through with one key."""

from __future__ import annotations

from enum import StrEnum

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QPushButton, QWidget

from benchapp.ui.widgets.controls import faint, set_tip


class VoltageView(StrEnum):
    """Pictures of the voltage."""

    VALUE = "value"
    RESIDUALS = "residuals"
    FOLDED = "folded"
    SPECTRUM = "spectrum"


_TIPS = {
    VoltageView.VALUE: "the readings by the sign of the current",
    VoltageView.RESIDUALS: "each reading from the mean of its polarity: drift and noise as they happen",
    VoltageView.FOLDED: "the last reversals over each other, against the time since the reversal: settling",
    VoltageView.SPECTRUM: "the noise over frequency, and how fast the current is reversed",
}


class ViewChoice(QWidget):
    """The four words; the one in use is underlined.

    Signals:
        chosen: another picture is wanted.
    """

    chosen = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._group = QButtonGroup(self)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        key = faint("V")
        set_tip(key, "the key V shows the next one")
        row.addWidget(key)
        for number, view in enumerate(VoltageView):
            word = QPushButton(str(view))
            word.setProperty("word", True)
            word.setCheckable(True)
            word.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            word.setCursor(Qt.CursorShape.PointingHandCursor)
            set_tip(word, _TIPS[view])
            self._group.addButton(word, number)
            row.addWidget(word)
        self._group.idClicked.connect(lambda number: self.chosen.emit(list(VoltageView)[number]))
        self.show_view(VoltageView.VALUE)

    def show_view(self, view: VoltageView) -> None:
        """Underline that one."""
        self._group.button(list(VoltageView).index(view)).setChecked(True)
