"""The picture of a study: what was seen as points, the fit as a line."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from benchapp.quantity import prefix_power, unit_text
from benchapp.study.conclusion import Floats
from benchapp.ui.plots.bare import bare_plot
from benchapp.ui.plots.stability_plot import LogAxis
from benchapp.ui.plots.time_plot import AXIS_WIDTH, ScaledAxis, style_plot
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.controls import faint, plain_label

_PREFIXED = ("ohm", "s", "Hz")  # other units are told as they are


class StudyPlot(QWidget):
    """Points and a line over one axis; the quantities stand above and below, each with its unit."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.plot = bare_plot()
        self._points = pg.PlotDataItem(symbol="o", symbolSize=6, pen=None)
        self._line = pg.PlotDataItem()
        for item in (self._line, self._points):
            self.plot.addItem(item)
        self._name, self._unit, self._below = plain_label(), faint(), faint()
        self._name.setFont(font(14, bold=True))
        for label in (self._unit, self._below):
            label.setFont(font(13))
        head, foot = QHBoxLayout(), QHBoxLayout()
        head.setSpacing(8)
        head.addWidget(self._name)
        head.addWidget(self._unit)
        head.addStretch(1)
        foot.addStretch(1)
        foot.addWidget(self._below)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(head)
        column.addWidget(self.plot, 1)
        column.addLayout(foot)
        self.setAccessibleName("picture of the study")
        theme.changed.connect(self._restyle)
        self._restyle()

    def show_picture(
        self,
        picture: tuple[Floats, Floats, Floats] | None,
        axes: tuple[str, str] = ("", ""),
        *,
        logarithmic: bool = False,
    ) -> None:
        """x, what was seen, the fit; nothing where there is no picture. `axes` name x and y with their units."""
        for widget in (self.plot, self._name, self._unit, self._below):
            widget.setVisible(picture is not None)
        if picture is None:
            return
        x, seen, fit = picture
        order = np.argsort(x)
        (x_name, x_unit), (y_name, y_unit) = (_parted(text) for text in axes)
        x_shown = self._axis("bottom", x, x_unit, logarithmic)
        y_shown = self._axis("left", seen, y_unit, logarithmic)
        self._name.setText(y_name)
        self._unit.setText(y_shown)
        self._below.setText(f"{x_name}, {x_shown}" if x_shown else x_name)
        self.plot.setLogMode(logarithmic, logarithmic)
        self._points.setData(x, seen)
        self._line.setData(x[order], fit[order])
        self.plot.autoRange()

    def _axis(self, side: str, values: Floats, unit: str, logarithmic: bool) -> str:
        """An axis of round numbers under one prefix; its unit as it is shown."""
        axis = LogAxis(side, unit) if logarithmic else ScaledAxis(side)
        shown = unit
        if isinstance(axis, ScaledAxis) and unit in _PREFIXED:
            axis.power = prefix_power(float(np.abs(values).max()))
            shown = unit_text(unit, axis.power)
        if side == "left":
            axis.setWidth(AXIS_WIDTH + 12)
        else:
            axis.setHeight(22)
        self.plot.setAxisItems({side: axis})
        self._restyle()
        return shown

    def _restyle(self) -> None:
        colours = self._theme.colours
        style_plot(self.plot, colours)
        self._points.setSymbolBrush(colours.ink)
        self._points.setSymbolPen(None)
        self._line.setPen(pg.mkPen(colours.accent, width=2))


def _parted(axis: str) -> tuple[str, str]:
    """Name and unit."""
    name, _, unit = axis.rpartition(", ")
    return (name, unit) if name else (axis, "")
