"""R per block with its running mean and band, V by polarity, and the thermal EMF, on one time axis."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from benchapp.history import History
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.ui.plots.time_plot import LastValue, TimePlot
from benchapp.ui.theme import Theme

FIRST_BLOCK_WITH_MEAN = 5
_TIME_UNITS = ((7200.0, 3600.0, "h"), (180.0, 60.0, "min"), (0.0, 1.0, "s"))


class ResistancePlot(TimePlot):
    """Dots are blocks, the line their running mean, the band its 95 % interval, dashed lines the limits."""

    def __init__(self, theme: Theme) -> None:
        self._low = pg.PlotCurveItem()
        self._high = pg.PlotCurveItem()
        self._band = pg.FillBetweenItem(self._low, self._high)
        self._mean = pg.PlotCurveItem()
        self._dots = pg.ScatterPlotItem(size=5, pxMode=True)
        self._limits: list[pg.InfiniteLine] = []
        super().__init__(theme, "R", "ohm", "per block, running mean and 95 % interval")
        for item in (self._low, self._high, self._band, self._dots, self._mean):
            self.plot.addItem(item, ignoreBounds=item in (self._low, self._high, self._band))

    def set_limits(self, recipe: Recipe) -> None:
        """Dashed lines with their names."""
        for line in self._limits:
            self.plot.removeItem(line)
        self._limits = []
        for value, name in ((recipe.low_ohm, "low limit"), (recipe.high_ohm, "high limit")):
            if value is not None:
                line = pg.InfiniteLine(
                    value, angle=0, label=name, labelOpts={"position": 0.06, "anchors": [(0, 1)] * 2}
                )
                self._limits.append(line)
                self.plot.addItem(line, ignoreBounds=True)
        self.recolour()

    def recolour(self) -> None:
        """The theme's colours."""
        self._low.setPen(None)
        self._high.setPen(None)
        self._band.setBrush(self.brush("band"))
        self._mean.setPen(self.pen("accent", 2))
        self._dots.setPen(None)
        self._dots.setBrush(self.brush("ink", 184))
        for line in self._limits:
            line.setPen(self.pen("ink", 1, Qt.PenStyle.DashLine))
            line.label.setColor(self.theme.colours.colour("ink"))

    def show_blocks(self, blocks: np.ndarray) -> None:
        """`blocks` as (numbers of a ClosedBlock, n)."""
        time_s, resistance, mean, half = blocks[0], blocks[1], blocks[3], blocks[4]
        self._dots.setData(time_s, resistance)
        later = slice(FIRST_BLOCK_WITH_MEAN - 1, None)
        self._mean.setData(time_s[later], mean[later])
        self._low.setData(time_s[later], (mean - half)[later])
        self._high.setData(time_s[later], (mean + half)[later])


class VoltagePlot(TimePlot):
    """Readings by the sign of the current: up triangles, down triangles, squares at zero current."""

    def __init__(self, theme: Theme) -> None:
        self._curves = {
            sign: pg.PlotDataItem(symbol=symbol, symbolSize=6, pxMode=True)
            for sign, symbol in ((1, "t1"), (-1, "t"), (0, "s"))
        }
        super().__init__(theme, "V", "V", "by polarity")
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

    def recolour(self) -> None:
        """The theme's colours."""
        for sign, role in ((1, "positive"), (-1, "negative"), (0, "faint")):
            curve = self._curves[sign]
            curve.setPen(self.pen(role))
            curve.setSymbolPen(None)
            curve.setSymbolBrush(self.brush(role))

    def show_readings(self, readings: np.ndarray) -> None:
        """`readings` as (time_s, current_A, voltage_V; n)."""
        time_s, current, voltage = readings
        good = np.abs(voltage) < 1e30
        for sign, curve in self._curves.items():
            mine = good & (np.sign(current) == sign)
            curve.setData(time_s[mine], voltage[mine])
            self._last[sign].setVisible(bool(mine.any()))
            if mine.any():
                self._last[sign].set_text(engineering(float(voltage[mine][-1]), "V", 4))


class EmfPlot(TimePlot):
    """The thermal EMF of each block."""

    def __init__(self, theme: Theme) -> None:
        self._curve = pg.PlotDataItem(symbol="s", symbolSize=5, pxMode=True)
        super().__init__(theme, "EMF", "V", "thermal")
        self.plot.addItem(self._curve)
        self._last = LastValue(theme, "■", "EMF", "emf")
        self._slope = LastValue(theme, "", "", "faint")
        self.side.addWidget(self._last)
        self.side.addWidget(self._slope)
        self.side.addStretch(1)
        self.side.addWidget(self.time_unit)

    def recolour(self) -> None:
        """The theme's colours."""
        self._curve.setPen(self.pen("emf"))
        self._curve.setSymbolPen(None)
        self._curve.setSymbolBrush(self.brush("emf"))

    def show_blocks(self, blocks: np.ndarray, slope_V_per_s: float) -> None:
        """`blocks` as (numbers of a ClosedBlock, n); the slope of the whole run."""
        self._curve.setData(blocks[0], blocks[2])
        self._last.setVisible(blocks.shape[1] > 0)
        self._slope.setVisible(blocks.shape[1] > 0)
        if blocks.shape[1]:
            self._last.set_text(engineering(float(blocks[2, -1]), "V", 3))
            self._slope.set_text(f"{engineering(slope_V_per_s * 60, 'V', 3)}/min")


class RunPlots(QWidget):
    """The three plots above each other, their time axes linked."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.resistance = ResistancePlot(theme)
        self.voltage = VoltagePlot(theme)
        self.emf = EmfPlot(theme)
        self._plots = (self.resistance, self.voltage, self.emf)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        for plot, stretch in zip(self._plots, (55, 25, 20), strict=True):
            column.addWidget(plot, stretch)
            plot.plot.setXLink(self.emf.plot if plot is not self.emf else None)
        self._drawn = (-1, -1)
        self.start(None)

    def start(self, recipe: Recipe | None) -> None:
        """Empty axes for a new run; prefixes follow the nominal value or the first block."""
        self._power_known = False
        self._drawn = (-1, -1)
        empty = np.empty((6, 0))
        self.resistance.show_blocks(empty)
        self.voltage.show_readings(np.empty((3, 0)))
        self.emf.show_blocks(empty, 0.0)
        self._set_empty(True)
        if recipe is None:
            return
        self.resistance.set_limits(recipe)
        if recipe.nominal_ohm is not None:
            self.resistance.choose_power(recipe.nominal_ohm)
            self.voltage.choose_power(recipe.nominal_ohm * recipe.current_A)

    def show_history(self, history: History, recipe: Recipe, slope_V_per_s: float) -> None:
        """Draw what is new."""
        counts = history.readings.count, history.blocks.count
        if counts == self._drawn or not counts[0]:
            return
        if self._drawn == (-1, -1):
            self._set_empty(False)
        self._drawn = counts
        readings, blocks = history.readings.since(0), history.blocks.since(0)
        if not self._power_known and blocks.shape[1]:
            self._power_known = True
            if recipe.nominal_ohm is None:
                self.resistance.choose_power(abs(float(blocks[1, 0])))
                self.voltage.choose_power(float(np.abs(readings[2]).max()))
            self.emf.choose_power(float(np.abs(blocks[2]).max()))
        self._set_time_unit(float(readings[0, -1]))
        self.resistance.show_blocks(blocks)
        self.voltage.show_readings(readings)
        self.emf.show_blocks(blocks, slope_V_per_s)

    def _set_empty(self, empty: bool) -> None:
        self._set_time_unit(0.0)
        for plot in self._plots:
            plot.set_empty(empty)
            plot.set_time_unit(1.0, "s", shown=plot is self.emf and not empty)

    def _set_time_unit(self, length_s: float) -> None:
        seconds, unit = next((seconds, unit) for least, seconds, unit in _TIME_UNITS if length_s >= least)
        for plot in self._plots:
            plot.set_time_unit(seconds, unit, shown=plot is self.emf)
