"""Pictures of the voltage that have no time axis: reversals folded over each other, and the spectrum."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from benchapp.analysis.exponential import decay
from benchapp.analysis.folding import Folded, fold
from benchapp.analysis.spectrum import Spectrum, spectrum
from benchapp.quantity import engineering, prefix_power, unit_text
from benchapp.recipe import Recipe
from benchapp.ui.plots.bare import bare_plot
from benchapp.ui.plots.stability_plot import LogAxis
from benchapp.ui.plots.time_plot import AXIS_WIDTH, SIDE_WIDTH, ScaledAxis, style_plot
from benchapp.ui.plots.view_choice import ViewChoice
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint, plain_label

Floats = NDArray[np.float64]


class SideView(QWidget):
    """A title with the choice of pictures, a plot, and what is to be read off it at its right."""

    def __init__(self, theme: Theme, left: pg.AxisItem, bottom: pg.AxisItem, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.choice = ViewChoice()
        self._left, self._bottom = left, bottom
        self.plot = bare_plot(left, bottom)
        left.setWidth(AXIS_WIDTH)
        bottom.setHeight(22)
        self._name, self._note = plain_label("V"), faint()
        self._name.setFont(font(13, bold=True))
        self._note.setFont(font(13))
        self._said = faint()
        self._said.setWordWrap(True)
        self._said.setFont(font(13))
        self._said.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._said.setFixedWidth(SIDE_WIDTH - 8)
        head = QHBoxLayout()
        head.setContentsMargins(0, 0, SIDE_WIDTH, 0)
        head.setSpacing(8)
        head.addWidget(self._name)
        head.addWidget(self._note)
        head.addStretch(1)
        head.addWidget(self.choice)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(8)
        row.addWidget(self.plot, 1)
        row.addWidget(self._said)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addLayout(head)
        column.addLayout(row, 1)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        theme.changed.connect(self.restyle)

    def restyle(self) -> None:
        """Take the theme's colours."""
        style_plot(self.plot, self.theme.colours)
        self.recolour()

    def recolour(self) -> None:
        """Give the items their colours; for subclasses."""

    def _pen(self, role: str, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> Any:
        return pg.mkPen(self.theme.colours.colour(role), width=width, style=style)

    def say(self, text: str) -> None:
        """What is to be read off."""
        self._said.setText(text)
        self.setAccessibleDescription(text)


class FoldedView(SideView):
    """How far the voltage is from where a dwell ends, against the time since the reversal, with its fit."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        self._bars = pg.ErrorBarItem(beam=0.0)
        self._dots = pg.ScatterPlotItem(size=6, pxMode=True)
        self._fit = pg.PlotCurveItem()
        super().__init__(theme, ScaledAxis("left"), ScaledAxis("bottom"), parent)
        for item in (self._bars, self._fit, self._dots):
            self.plot.addItem(item)
        self.setAccessibleName("voltage folded on the time since the reversal")
        self.restyle()

    def recolour(self) -> None:
        """The theme's colours."""
        self._dots.setPen(None)
        self._dots.setBrush(pg.mkBrush(self.theme.colours.colour("ink")))
        self._bars.setData(pen=self._pen("faint"))
        self._fit.setPen(self._pen("accent", 2))

    def show_readings(self, readings: Floats, recipe: Recipe) -> None:
        """The last readings of a run."""
        found = fold(readings, recipe.settle_s, recipe.aperture_s)
        there = found is not None and len(found.since_s) > 1
        self.plot.setVisible(there)
        if found is None or not there:
            self.say("Each sign is read once: nothing can be seen to settle. Use ++−− or longer.")
            return
        self._left.power = power = prefix_power(float(np.abs(found.offset_V).max()) or 1e-9)
        self._bottom.power = time_power = prefix_power(float(found.since_s[-1]))
        self._note.setText(
            f"{unit_text('V', power)} from the end of a dwell, over {unit_text('s', time_power)} since the reversal"
        )
        self._dots.setData(found.since_s, found.offset_V)
        self._bars.setData(x=found.since_s, y=found.offset_V, height=4 * found.u_V)
        self._show_fit(found, recipe)
        top = float((np.abs(found.offset_V) + 2 * found.u_V).max()) or 1e-9
        low = float((found.offset_V - 2 * found.u_V).min())
        self.plot.setXRange(0.0, float(found.since_s[-1]) * 1.05, padding=0)
        self.plot.setYRange(min(-0.15 * top, 1.1 * low), 1.15 * top, padding=0)

    def _show_fit(self, found: Folded, recipe: Recipe) -> None:
        tau = found.tau_s
        self._fit.setVisible(math.isfinite(tau))
        text = f"{found.pairs} pairs"
        if found.fit is not None and math.isfinite(tau):
            aperture = recipe.aperture_s
            since = np.linspace(float(found.since_s[0]), float(found.since_s[-1]), 80)
            constant, size = found.fit.coefficients
            self._fit.setData(since, constant + size * decay(since - aperture / 2, tau, aperture))
            text += f"\nsettles with {engineering(tau, 's', 2)}"
        elif len(found.since_s) < 4:
            text += "\ntoo few readings a sign for a time constant"
        else:
            text += "\nno settling is seen"
        self.say(text)


class SpectrumView(SideView):
    """Density over frequency, both logarithmic, with the rate of the reversals."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        self._curve = pg.PlotCurveItem()
        self._rate = pg.InfiniteLine(0, angle=90)
        super().__init__(theme, LogAxis("left", "V"), LogAxis("bottom", "Hz"), parent)
        self._note.setText("noise of the readings per √Hz")
        for item in (self._curve, self._rate):
            self.plot.addItem(item)
        self.setAccessibleName("spectrum of the voltage")
        self.restyle()

    def recolour(self) -> None:
        """The theme's colours."""
        self._curve.setPen(self._pen("ink"))
        self._rate.setPen(self._pen("accent", 2, Qt.PenStyle.DashLine))

    def show_readings(self, readings: Floats, recipe: Recipe) -> None:
        """The last readings of a run."""
        good = np.abs(readings[2]) < 1e30
        found = spectrum(readings[:, good])
        self.plot.setVisible(found is not None)
        if found is None:
            self.say("The spectrum comes with 32 readings.")
            return
        x, y = np.log10(found.frequency_Hz), np.log10(np.maximum(found.density_V_per_rt_Hz, 1e-300))
        self._curve.setData(x, y)
        self.plot.setXRange(float(x[0]), float(x[-1]), padding=0.02)
        self.plot.setYRange(float(y.min()) - 0.1, float(y.max()) + 0.1, padding=0)
        self._show_rate(found)

    def _show_rate(self, found: Spectrum) -> None:
        there = found.reversals_Hz > 0
        self._rate.setVisible(bool(there))
        text = ""
        if there:
            self._rate.setValue(math.log10(found.reversals_Hz))
            text = f"reversed at {engineering(found.reversals_Hz, 'Hz', 2)}"
        if math.isfinite(found.corner_Hz):
            slow = there and found.corner_Hz > found.reversals_Hz
            text += f"\nslow noise below {engineering(found.corner_Hz, 'Hz', 2)}"
            text += ": reverse faster" if slow else ", which the reversals are above"
        else:
            text += "\nno slow noise is seen"
        self.say(text.strip())
