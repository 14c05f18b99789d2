"""What a check has read: the voltage less its mean at zero current, over the seconds that it took."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from benchapp.check.trace import Trace
from benchapp.quantity import prefix_power, unit_text
from benchapp.ui.plots.bare import bare_plot
from benchapp.ui.plots.time_plot import AXIS_WIDTH, ScaledAxis, style_plot
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint, plain_label

Floats = NDArray[np.float64]
_ROLES = {0: "emf", 1: "positive", -1: "negative"}


class CheckPlot(QWidget):
    """Set `show_trace`. Readings at +I, −I and zero in their own colours."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._left, bottom = ScaledAxis("left"), ScaledAxis("bottom")
        self.plot = bare_plot(self._left, bottom)
        self._left.setWidth(AXIS_WIDTH)
        bottom.setHeight(22)
        self._lines = {sign: pg.PlotDataItem(connect="finite") for sign in _ROLES}
        for line in self._lines.values():
            self.plot.addItem(line)
        name, self._note = plain_label("What the check saw"), faint()
        name.setFont(font(13, bold=True))
        self._note.setFont(font(13))
        head = QHBoxLayout()
        head.setSpacing(12)
        head.addWidget(name)
        head.addWidget(self._note)
        head.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addLayout(head)
        column.addWidget(self.plot, 1)
        self.setAccessibleName("what the check saw")
        theme.changed.connect(self._restyle)
        self._restyle()
        self.show_trace(None)

    def show_trace(self, trace: Trace | None) -> None:
        """What was read, in the order of time; nothing before a check."""
        t, I, V = _columns(trace)
        for side in ("left", "bottom"):  # no numbers on an axis that has nothing to show
            self.plot.getAxis(side).setStyle(showValues=bool(len(t)))
        if not len(t):
            self._note.setText("nothing was read yet")
            for line in self._lines.values():
                line.setData([], [])
            return
        assert trace is not None
        zero = float(np.mean(trace.zero.voltage_V)) if trace.zero.voltage_V else 0.0
        shown = V - zero
        self._left.power = prefix_power(float(np.abs(shown).max()) or 1e-9)
        self._note.setText(f"V less its mean at zero current, in {unit_text('V', self._left.power)}")
        for sign, line in self._lines.items():
            line.setData(t, np.where(np.sign(I) == sign, shown, np.nan))
        self.plot.autoRange()

    def _restyle(self) -> None:
        style_plot(self.plot, self._theme.colours)
        for sign, line in self._lines.items():
            line.setPen(pg.mkPen(self._theme.colours.colour(_ROLES[sign]), width=1.75))


def _columns(trace: Trace | None) -> tuple[Floats, Floats, Floats]:
    """Time, current and voltage of all that was read over whole line cycles, in the order of time."""
    if trace is None:
        return np.empty(0), np.empty(0), np.empty(0)
    parts = [
        series.columns
        for series in (trace.zero, trace.first, trace.slow, trace.dwells, trace.zero_again)
        if series.time_s
    ]
    if not parts:
        return np.empty(0), np.empty(0), np.empty(0)
    t, I, V = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(t, kind="stable")
    return t[order], I[order], V[order]
