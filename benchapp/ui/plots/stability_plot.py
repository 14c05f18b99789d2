"""How long averaging helps: the deviation of averages over their length, both axes logarithmic."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtWidgets import QVBoxLayout, QWidget

from benchapp.analysis.stability import AllanPoint, useful_averaging
from benchapp.quantity import engineering
from benchapp.ui.plots.bare import bare_plot
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import plain_label


class LogAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph has no types
    """Ticks at decades (and at 2 and 5 where there is room), worded with their prefix."""

    def __init__(self, orientation: str, unit: str) -> None:
        super().__init__(orientation)
        self._unit = unit

    def tickValues(self, minVal: float, maxVal: float, size: float) -> list[tuple[float, list[float]]]:
        """Exponents of the ticks."""
        few = maxVal - minVal > 2.2
        steps = (1.0,) if few else (1.0, 2.0, 5.0)
        decades = range(math.floor(minVal), math.ceil(maxVal) + 1)
        ticks = [decade + math.log10(step) for decade in decades for step in steps]
        return [(1.0, [tick for tick in ticks if minVal <= tick <= maxVal])]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """10 s, 2 nΩ."""
        return [engineering(10.0**value, self._unit, 1) for value in values]


class StabilityPlot(QWidget):
    """Points with their 95 % bands, the slope of white noise as a dashed line, and one sentence."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._left, self._bottom = LogAxis("left", "ohm"), LogAxis("bottom", "s")
        self._left.setWidth(58)
        self.plot = bare_plot(self._left, self._bottom)
        self.plot.setMinimumHeight(90)
        self.plot.setMaximumHeight(210)
        self._bands = pg.ErrorBarItem(beam=0.03)
        self._dots = pg.PlotDataItem(symbol="s", symbolSize=6)
        self._white = pg.PlotCurveItem()
        for item in (self._white, self._bands, self._dots):
            self.plot.addItem(item)
        self._title = plain_label("Deviation of R over averaging time")
        self._title.setFont(font(13))
        self._text = plain_label()
        self._text.setWordWrap(True)
        self._text.setFont(font(13))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 0)
        column.setSpacing(8)
        column.addWidget(self._title)
        column.addWidget(self.plot, 10)
        column.addWidget(self._text)
        column.addStretch(1)
        self.setAccessibleName("stability")
        theme.changed.connect(self._restyle)
        self._restyle()
        self.show_points([], 0.0)

    def show_points(self, points: Sequence[AllanPoint], spacing_s: float) -> None:
        """Points of the Allan deviation of the blocks, and the time from one block to the next."""
        shown = [p for p in points if p.deviation > 0 and spacing_s > 0]
        self.plot.setVisible(bool(shown))
        self._text.setText(useful_averaging(shown, spacing_s, engineering))
        self.setAccessibleDescription(self._text.text())
        if not shown:
            return
        x = np.log10([p.factor * spacing_s for p in shown])
        y, low, high = (np.log10([getattr(p, name) for p in shown]) for name in ("deviation", "low", "high"))
        self._dots.setData(x, y)
        self._bands.setData(x=x, y=y, top=high - y, bottom=y - low)
        self._white.setData(x[[0, -1]], y[0] - 0.5 * (x[[0, -1]] - x[0]))
        self.plot.setXRange(float(x[0]) - 0.15, float(x[-1]) + 0.15, padding=0)
        lowest = min(float(low.min()), float(y[0] - 0.5 * (x[-1] - x[0])))
        self.plot.setYRange(lowest - 0.05, float(high.max()) + 0.05, padding=0)

    def _restyle(self) -> None:
        c = self._theme.colours
        self.plot.setBackground(c.raised)
        for axis in (self._left, self._bottom):
            axis.setPen(pg.mkPen(c.line))
            axis.setTextPen(pg.mkPen(c.faint))
            axis.setTickFont(font(12))
            axis.setStyle(tickLength=-1)
            axis.setGrid(40 if c.name == "dark" else 60)
        self._dots.setPen(pg.mkPen(c.accent, width=2))
        self._dots.setSymbolBrush(pg.mkBrush(c.accent))
        self._dots.setSymbolPen(None)
        self._bands.setData(pen=pg.mkPen(c.accent))
        self._white.setPen(pg.mkPen(c.faint, width=1, dash=[4, 4]))
