"""The three plots of a run, each of one quantity over time: resistance, voltage, EMF."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt

from benchapp.analysis.pyramid import MinMaxPyramid
from benchapp.quantity import engineering, prefix_power
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.ui.plots.histogram import BlockHistogram
from benchapp.ui.plots.time_plot import LastValue, TimePlot
from benchapp.ui.plots.view_choice import ViewChoice
from benchapp.ui.presentation import FIRST_BLOCK
from benchapp.ui.theme import Theme

Floats = NDArray[np.float64]
_POINTS = 700
_MARGIN = 0.12
_THIN_PX = 4.0  # a band thinner than that is a line
_WHOLE = "per block, running mean, and the value stated with U"
_NARROW = "from the mean, view ± 5 U"
_SYMBOLS = 70  # more marks than that are no marks any more


class ResistancePlot(TimePlot):
    """Dots are blocks, the line their running mean, the band its 95 % interval, dashed lines the limits."""

    def __init__(self, theme: Theme) -> None:
        self._low = pg.PlotCurveItem()
        self._high = pg.PlotCurveItem()
        self._band = pg.FillBetweenItem(self._low, self._high)
        self._mean = pg.PlotCurveItem()
        self._dots = pg.ScatterPlotItem(size=5, pxMode=True)
        self._crowd = pg.PlotCurveItem()
        self._other = pg.PlotCurveItem()
        # The value that is stated, with its U: the running mean is that of consecutive blocks, which it need not equal.
        self._stated = [pg.InfiniteLine(0, angle=0) for _ in range(3)]
        self._limits: list[pg.InfiniteLine] = []
        self._series = {name: MinMaxPyramid() for name in ("R", "mean", "low", "high")}
        super().__init__(theme, "R", "ohm", _WHOLE)
        for item in (self._low, self._high, self._band, self._crowd, self._other, self._dots, self._mean):
            self.plot.addItem(item, ignoreBounds=item in (self._low, self._high, self._band))
        for line in self._stated:
            line.setVisible(False)
            self.plot.addItem(line, ignoreBounds=True)
        self._of_parts = False
        self._from_mean: bool | None = None  # None: where the band would be too thin to be seen
        self._narrow = False
        self._stated_at = (math.nan, math.nan)
        self._whole_power = 0
        self.histogram = BlockHistogram(theme, self.plot)
        self.side.setContentsMargins(0, 0, 0, 0)
        self.side.addWidget(self.histogram, 1)

    def clear(self) -> None:
        """No blocks."""
        self._series = {name: MinMaxPyramid() for name in self._series}
        self.histogram.clear()
        for item in (self._low, self._high, self._mean, self._crowd):
            item.setData([], [])
        self._dots.setData([], [])
        self.show_stated(None)

    def set_limits(self, recipe: Recipe | None) -> None:
        """Dashed lines with their names; None for none."""
        for line in self._limits:
            self.plot.removeItem(line)
        self._limits = []
        self._of_parts = recipe is not None and bool(recipe.channels)
        limits = () if recipe is None else ((recipe.low_ohm, "low limit"), (recipe.high_ohm, "high limit"))
        for value, name in limits:
            if value is not None:
                line = pg.InfiniteLine(value, angle=0, label=name, labelOpts={"position": 1.0, "anchors": [(1, 1)] * 2})
                self._limits.append(line)
                self.plot.addItem(line, ignoreBounds=True)
        self.recolour()

    def recolour(self) -> None:
        """The theme's colours."""
        self._low.setPen(None)
        self._high.setPen(None)
        self._band.setBrush(self.brush("band"))
        self._mean.setPen(self.pen("accent", 2))
        self._crowd.setPen(self.pen("faint", 1))
        self._other.setPen(self.pen("ink", 1, Qt.PenStyle.DashLine))
        for number, line in enumerate(self._stated):
            line.setPen(self.pen("accent", 1, Qt.PenStyle.DotLine if number else Qt.PenStyle.SolidLine))
        self._dots.setPen(None)
        self._dots.setBrush(self.brush("ink", 184))
        for line in self._limits:
            line.setPen(self.pen("ink", 1, Qt.PenStyle.DashLine))
            line.label.setColor(self.theme.colours.colour("ink"))

    def show_stated(self, stated: Statement | None) -> None:
        """Value and interval of a statement, at the specimen's own temperature; nothing where there is none."""
        R = U = math.nan
        if stated is not None and stated.estimate.blocks >= FIRST_BLOCK:
            R = stated.estimate.resistance_ohm
            U = stated.expanded_uncertainty_ohm * (R / stated.resistance_ohm if stated.resistance_ohm else 1.0)
        shown = math.isfinite(R) and math.isfinite(U)
        self._stated_at = (R, U)
        for line, value in zip(self._stated, (R, R - U, R + U), strict=True):
            line.setVisible(shown)
            if shown:
                line.setValue(value)

    def overlay(self, blocks: Floats | None) -> None:
        """The running mean of another run (rows of ClosedBlock), dashed; None takes it away."""
        if blocks is None:
            self._other.setData([], [])
        else:
            self._other.setData(blocks[0, FIRST_BLOCK - 1 :], blocks[3, FIRST_BLOCK - 1 :])

    def add_blocks(self, blocks: Floats, before: int) -> None:
        """Rows of ClosedBlock; `before` blocks came earlier."""
        time_s, resistance, mean, half = blocks[0], blocks[1], blocks[3], blocks[4]
        self._series["R"].extend(time_s, resistance)
        if self._of_parts:  # a mean over several parts is that of none
            self.histogram.add(resistance, float(resistance[-1]) if len(resistance) else 0.0)
            return
        later = slice(max(0, FIRST_BLOCK - 1 - before), None)
        t, m, h = time_s[later], mean[later], half[later]
        for name, values in (("mean", m), ("low", m - h), ("high", m + h)):
            self._series[name].extend(t, values)
        self.histogram.add(resistance, float(mean[-1]) if len(mean) else 0.0)

    def draw(self, start_s: float, end_s: float) -> None:
        """What lies between two times."""
        t, R = self._series["R"].stretch(start_s, end_s, _POINTS)
        crowded = len(t) > _SYMBOLS * 3
        self._dots.setVisible(not crowded)
        self._crowd.setVisible(crowded)
        (self._crowd if crowded else self._dots).setData(t, R)
        self._fit_or_narrow(R)
        for name, item in (("mean", self._mean), ("low", self._low), ("high", self._high)):
            item.setData(*self._series[name].stretch(start_s, end_s, _POINTS // 2))
        self.histogram.update()

    def toggle_from_mean(self) -> None:
        """R as it is, or from its mean within five uncertainties."""
        self._from_mean = not self._narrow
        self.forget_range()

    def _fit_or_narrow(self, R: Floats) -> None:
        """The whole range of the blocks; where the band is thinner than can be seen, five U about the mean."""
        mean, U = self._stated_at
        can = math.isfinite(mean) and U > 0 and not self._of_parts
        wanted = self._from_mean
        if wanted is None and can and len(R):
            span = float(R.max() - R.min()) * (1 + 2 * _MARGIN)
            # Once narrow it stays so until the band would be half as thick again.
            wanted = span > 0 and 2 * U / span * self.plot.height() < _THIN_PX * (1.5 if self._narrow else 1.0)
        narrow = bool(wanted) and can
        if narrow != self._narrow:
            self._narrow = narrow
            if narrow:
                self._whole_power = self.power
            self.set_power(prefix_power(5 * U) if narrow else self._whole_power)
            self.set_offset(mean if narrow else 0.0, _NARROW if narrow else _WHOLE)
            self.forget_range()
        if narrow:
            self.set_offset(mean, _NARROW)
            self.plot.setYRange(mean - 5 * U, mean + 5 * U, padding=0)
        else:
            self.fit([R])


class VoltagePlot(TimePlot):
    """Readings by the sign of the current: up triangles, down triangles, squares at zero current."""

    def __init__(self, theme: Theme) -> None:
        self._curves = {sign: pg.PlotDataItem(symbolSize=6, pxMode=True) for sign in (1, -1, 0)}
        self._series = {sign: MinMaxPyramid() for sign in self._curves}
        self._sums = {sign: [0, 0.0] for sign in self._curves}
        self._residuals = False
        super().__init__(theme, "V", "V", "by polarity")
        self.choice = ViewChoice()
        self.head.addWidget(self.choice)
        self._last = {
            1: LastValue(theme, "▲", "+I", "positive"),
            -1: LastValue(theme, "▼", "−I", "negative"),
            0: LastValue(theme, "■", "0", "faint"),
        }
        for sign, curve in self._curves.items():
            self.plot.addItem(curve)
            self.side.addWidget(self._last[sign])
            self._last[sign].setVisible(False)
        self.side.addStretch(1)

    def clear(self) -> None:
        """No readings."""
        self._series = {sign: MinMaxPyramid() for sign in self._curves}
        self._sums = {sign: [0, 0.0] for sign in self._curves}
        for sign, curve in self._curves.items():
            curve.setData([], [])
            self._last[sign].setVisible(False)

    def recolour(self) -> None:
        """The theme's colours."""
        for sign, role in ((1, "positive"), (-1, "negative"), (0, "faint")):
            curve = self._curves[sign]
            curve.setPen(self.pen(role))
            curve.setSymbolPen(None)
            curve.setSymbolBrush(self.brush(role))

    def add_readings(self, readings: Floats) -> None:
        """Rows time_s, current_A, voltage_V; overloads are not drawn."""
        time_s, current, voltage = readings
        good = np.abs(voltage) < 1e30
        for sign, series in self._series.items():
            mine = good & (np.sign(current) == sign)
            if mine.any():
                series.extend(time_s[mine], voltage[mine])
                count, total = self._sums[sign]
                self._sums[sign] = [count + int(mine.sum()), total + float(voltage[mine].sum())]
                self._last[sign].setVisible(True)
                self._last[sign].set_text(engineering(float(voltage[mine][-1]), "V", 4))

    def draw(self, start_s: float, end_s: float) -> None:
        """What lies between two times."""
        drawn = []
        for sign, symbol in ((1, "t1"), (-1, "t"), (0, "s")):
            t, V = self._series[sign].stretch(start_s, end_s, _POINTS // 2)
            count, total = self._sums[sign]
            if self._residuals and count:
                V = V - total / count
            self._curves[sign].setSymbol(symbol if len(t) <= _SYMBOLS else None)
            self._curves[sign].setData(t, V)
            drawn.append(V)
        if self._residuals:
            self._fit_power(drawn)
        self.fit(drawn)

    def show_residuals(self, residuals: bool) -> None:
        """Each reading from the mean of its polarity, or as it is."""
        if residuals == self._residuals:
            return
        self._residuals = residuals
        if residuals:
            self._whole_power = self.power
        else:
            self.set_power(self._whole_power)
        self.set_note("from the mean of its polarity" if residuals else "by polarity")
        self.forget_range()

    def _fit_power(self, drawn: list[Floats]) -> None:
        largest = max((float(np.abs(part).max()) for part in drawn if len(part)), default=0.0)
        if largest > 0 and prefix_power(largest) != self.power:
            self.choose_power(largest)


class EmfPlot(TimePlot):
    """The thermal EMF of each block."""

    def __init__(self, theme: Theme) -> None:
        self._curve = pg.PlotDataItem(symbolSize=5, pxMode=True)
        self._series = MinMaxPyramid()
        super().__init__(theme, "EMF", "V", "thermal")
        self.plot.addItem(self._curve)
        self._last = LastValue(theme, "■", "EMF", "emf")
        self._slope = LastValue(theme, "", "", "faint")
        self.side.addWidget(self._last)
        self.side.addWidget(self._slope)
        self.side.addStretch(1)
        self.side.addWidget(self.time_unit)

    def clear(self) -> None:
        """No blocks."""
        self._series = MinMaxPyramid()
        self._curve.setData([], [])
        self._last.setVisible(False)
        self._slope.setVisible(False)

    def recolour(self) -> None:
        """The theme's colours."""
        self._curve.setPen(self.pen("emf"))
        self._curve.setSymbolPen(None)
        self._curve.setSymbolBrush(self.brush("emf"))

    def add_blocks(self, blocks: Floats, slope_V_per_s: float) -> None:
        """Rows of ClosedBlock, and the slope over the whole run."""
        self._series.extend(blocks[0], blocks[2])
        if blocks.shape[1]:
            self._last.setVisible(True)
            self._slope.setVisible(True)
            self._last.set_text(engineering(float(blocks[2, -1]), "V", 3))
            self._slope.set_text(f"{engineering(slope_V_per_s * 60, 'V', 3)}/min")

    def draw(self, start_s: float, end_s: float) -> None:
        """What lies between two times."""
        t, E = self._series.stretch(start_s, end_s, _POINTS // 2)
        self._curve.setSymbol("s" if len(t) <= _SYMBOLS else None)
        self._curve.setData(t, E)
        self.fit([E])
