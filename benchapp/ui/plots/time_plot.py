"""One plot over time: axes in one prefix, a grid, the theme's colours; the standard look is left at the door."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from benchapp.quantity import prefix_power, scaled_text, unit_text
from benchapp.ui.plots.bare import bare_plot
from benchapp.ui.theme import Colours, Theme, font
from benchapp.ui.widgets.controls import plain_label

AXIS_WIDTH = 72
SIDE_WIDTH = 132
_SHRINK = 0.5
_MARGIN = 0.12  # room for what comes next


class ScaledAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph has no types
    """Ticks in units of a power of ten that stays, so that numbers never jump to another prefix."""

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation)
        self.power = 0
        self.divisor = 1.0
        self.offset = 0.0  # what stands as zero
        self.enableAutoSIPrefix(False)

    def tickSpacing(self, minVal: float, maxVal: float, size: float) -> list[tuple[float, float]]:
        """One level of ticks, four to six of them, in steps of 1, 2, 5 of the shown unit."""
        room = 90.0 if self.orientation == "bottom" else 24.0
        count = max(2.0, min(6.0, size / room))
        unit = self.divisor if self.divisor != 1.0 else 10.0**self.power
        raw = max((maxVal - minVal) / unit / count, 1e-12)
        decade = 10.0 ** math.floor(math.log10(raw))
        step = next(factor for factor in (1, 2, 5, 10) if factor * decade >= raw * 0.999)
        return [(step * decade * unit, 0.0)]

    def tickValues(self, minVal: float, maxVal: float, size: float) -> list[tuple[float, list[float]]]:
        """Round numbers from the offset on."""
        levels = super().tickValues(minVal - self.offset, maxVal - self.offset, size)
        return [(spacing, [value + self.offset for value in values]) for spacing, values in levels]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """Plain numbers with as many places as the spacing needs."""
        if self.divisor != 1.0:
            places = max(0, -math.floor(math.log10(spacing / self.divisor) + 1e-9))
            return [f"{value / self.divisor:.{places}f}" for value in values]
        places = max(0, -math.floor(math.log10(spacing) - self.power + 1e-9))
        return [self._text(float(value) - self.offset, places) for value in values]

    def _text(self, value: float, places: int) -> str:
        text = scaled_text(value, self.power, places)
        return f"+{text}" if self.offset and value > 0 and text.strip("0.") else text


class TimePlot(QWidget):
    """A title line over a plot, and room for last values at its right. Subclasses add and fill the items."""

    def __init__(self, theme: Theme, name: str, unit: str, note: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._name, self._unit, self._note = name, unit, note
        self._range = (math.inf, -math.inf)
        self._time_axis: tuple[float, str, bool] | None = None
        self._left = ScaledAxis("left")
        self._bottom = ScaledAxis("bottom")
        self.plot = bare_plot(self._left, self._bottom, movable=True)
        self._left.setWidth(AXIS_WIDTH)
        self.plot.getViewBox().disableAutoRange()
        self.plot.getViewBox().setLimits(xMin=0)
        self._title = QLabel()
        self._title.setTextFormat(Qt.TextFormat.RichText)
        self.side = QVBoxLayout()
        self.side.setContentsMargins(8, 0, 0, 0)
        self.side.setSpacing(2)
        self.time_unit = plain_label()
        self.time_unit.setProperty("role", "faint")
        self.time_unit.setAlignment(Qt.AlignmentFlag.AlignBottom)
        side = QWidget()
        side.setFixedWidth(SIDE_WIDTH)
        side.setLayout(self.side)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.plot, 1)
        row.addWidget(side)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        self.head = QHBoxLayout()
        self.head.setContentsMargins(0, 0, SIDE_WIDTH, 0)
        self.head.addWidget(self._title)
        self.head.addStretch(1)
        column.addLayout(self.head)
        column.addLayout(row, 1)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(f"plot of {name}, {note}")
        theme.changed.connect(self.restyle)
        self.set_power(0)

    def set_power(self, power: int) -> None:
        """The prefix of the vertical axis, for the whole run."""
        self._left.power = power
        self.restyle()

    @property
    def power(self) -> int:
        """The prefix in use."""
        return self._left.power

    def set_offset(self, offset: float, note: str) -> None:
        """Count the vertical axis from a value; `note` says what the axis shows then."""
        self._left.offset, self._note = offset, note
        self._left.picture = None
        self._left.update()
        self.restyle()

    def choose_power(self, magnitude: float) -> None:
        """The prefix that suits a magnitude."""
        self.set_power(prefix_power(magnitude))

    def set_time_unit(self, seconds: float, unit: str, *, shown: bool) -> None:
        """Time axis in s, min or h; its labels stand under the last plot only."""
        if (seconds, unit, shown) == self._time_axis:
            return
        self._time_axis = (seconds, unit, shown)
        self._bottom.divisor = seconds
        self._bottom.setStyle(showValues=shown)
        self._bottom.setHeight(22 if shown else 4)
        self._bottom.picture = None
        self._bottom.update()
        self.time_unit.setText(f"time in {unit}" if shown else "")

    def set_empty(self, empty: bool) -> None:
        """Without data the axes stand without numbers."""
        self._left.setStyle(showValues=not empty)
        self._range = (math.inf, -math.inf)
        if empty:
            self.time_unit.setText("")

    def set_note(self, note: str) -> None:
        """What stands after the unit."""
        self._note = note
        self.restyle()

    def forget_range(self) -> None:
        """The vertical axis is found anew."""
        self._range = (math.inf, -math.inf)

    def fit(self, values: list[NDArray[np.float64]]) -> None:
        """Let the vertical axis hold the values; it grows at once and shrinks only when half of it stands empty.

        An axis that moved with every block would be unreadable, and each move paints everything again.
        """
        shown = [part for part in values if len(part)]
        if not shown:
            return
        low, high = min(float(part.min()) for part in shown), max(float(part.max()) for part in shown)
        bottom, top = self._range
        span = high - low or abs(high) * 1e-6 or 1e-12
        if low < bottom or high > top or span < _SHRINK * (top - bottom):
            self._range = (low - _MARGIN * span, high + _MARGIN * span)
            self.plot.setYRange(*self._range, padding=0)

    def restyle(self) -> None:
        """Take the theme's colours."""
        c = self.theme.colours
        style_plot(self.plot, c)
        unit = unit_text(self._unit, self._left.power)
        self._title.setText(
            f'<span style="font-weight:bold">{self._name}</span>&nbsp; '
            f'<span style="color:{c.faint}">{unit} {self._note}</span>'
        )
        self._title.setFont(font(13))
        self.recolour()

    def recolour(self) -> None:
        """Give the items their colours; for subclasses."""

    def pen(self, role: str, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> Any:
        """A pen in a role's colour."""
        return pg.mkPen(self.theme.colours.colour(role), width=width, style=style)

    def brush(self, role: str, alpha: int = 255) -> Any:
        """A brush in a role's colour."""
        colour = self.theme.colours.colour(role)
        colour.setAlpha(alpha)
        return pg.mkBrush(colour)


def style_plot(plot: pg.PlotWidget, colours: Colours) -> None:
    """Ground, axes and grid in the theme's colours."""
    plot.setBackground(colours.surface)
    for side in ("left", "bottom"):
        axis = plot.getAxis(side)
        axis.setPen(pg.mkPen(colours.line))
        axis.setTextPen(pg.mkPen(colours.faint))
        axis.setTickFont(font(12))
        axis.setStyle(tickLength=-1, autoExpandTextSpace=False)
        axis.setGrid(40 if colours.name == "dark" else 60)


class LastValue(QWidget):
    """Mark, name and last value of a series, where a legend would stand otherwise."""

    def __init__(self, theme: Theme, mark: str, name: str, role: str) -> None:
        super().__init__()
        self._theme, self._role = theme, role
        self._mark = plain_label(f"{mark} {name}")
        self._value = plain_label()
        self._value.setAlignment(Qt.AlignmentFlag.AlignRight)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self._mark)
        row.addWidget(self._value, 1)
        theme.changed.connect(self._restyle)
        self._restyle()

    def set_text(self, text: str) -> None:
        """The value with its unit."""
        self._value.setText(text.replace("-", "−"))

    def _restyle(self) -> None:
        self._mark.setFont(font(12, bold=True))
        self._value.setFont(font(14))
        self._mark.setStyleSheet(f"color: {getattr(self._theme.colours, self._role)}")
