"""The picture of a study: what was seen as points, the fit as a line."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtWidgets import QVBoxLayout, QWidget

from benchapp.study.conclusion import Floats
from benchapp.ui.theme import Theme


class StudyPlot(QWidget):
    """Points and a line over one axis."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.plot = pg.PlotWidget()
        self.plot.setMenuEnabled(False)
        self.plot.hideButtons()
        self.plot.setMouseEnabled(x=False, y=False)
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self._points = pg.PlotDataItem(symbol="o", symbolSize=6)
        self._line = pg.PlotDataItem()
        for item in (self._line, self._points):
            self.plot.addItem(item)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.plot)
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
        for side, text in zip(("bottom", "left"), axes, strict=True):
            self.plot.getAxis(side).enableAutoSIPrefix(False)
            self.plot.setLabel(side, text)
        self.plot.setVisible(picture is not None)
        if picture is None:
            return
        x, seen, fit = picture
        order = np.argsort(x)
        self.plot.setLogMode(logarithmic, logarithmic)
        self._points.setData(x, seen, pen=None)
        self._line.setData(x[order], fit[order])
        self.plot.autoRange()

    def _restyle(self) -> None:
        colours = self._theme.colours
        self.plot.setBackground(colours.surface)
        for side in ("left", "bottom"):
            self.plot.getAxis(side).setPen(colours.faint)
            self.plot.getAxis(side).setTextPen(colours.faint)
        self._points.setSymbolBrush(colours.ink)
        self._points.setSymbolPen(None)
        self._line.setPen(pg.mkPen(colours.accent, width=2))
