"""The specimen's thermometer through a run; there only where the recipe corrects by it."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray

from benchapp.analysis.pyramid import MinMaxPyramid
from benchapp.ui.plots.time_plot import LastValue, TimePlot
from benchapp.ui.theme import Theme

_POINTS = 700


class TemperaturePlot(TimePlot):
    """Degrees Celsius over the run's time."""

    def __init__(self, theme: Theme) -> None:
        self._curve = pg.PlotDataItem()
        self._series = MinMaxPyramid()
        super().__init__(theme, "T", "°C", "of the specimen's thermometer")
        self.plot.addItem(self._curve)
        self._last = LastValue(theme, "", "T", "ink")
        self.side.addWidget(self._last)
        self.side.addStretch(1)

    def clear(self) -> None:
        """No temperatures."""
        self._series = MinMaxPyramid()
        self._curve.setData([], [])
        self._last.setVisible(False)

    def recolour(self) -> None:
        """The theme's colours."""
        self._curve.setPen(self.pen("ink"))

    def add(self, told: NDArray[np.float64]) -> None:
        """Further ones as (2, n): time_s, degrees Celsius."""
        if told.shape[1]:
            self._series.extend(told[0], told[1])
            self._last.setVisible(True)
            self._last.set_text(f"{told[1, -1]:.3f} °C")

    def draw(self, start_s: float, end_s: float) -> None:
        """What lies between two times."""
        t, T = self._series.stretch(start_s, end_s, _POINTS // 2)
        self._curve.setData(t, T)
        self.fit([T])
