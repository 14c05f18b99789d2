"""R per block with its running mean and band, V by polarity, temperature and thermal EMF, on one time axis.

Each series lives in a min/max pyramid: what is drawn is about two points a pixel, however long the run, and no spike is
lost. The view follows the run until it is moved by hand.
"""

from __future__ import annotations

import time

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget

from benchapp.events import Event
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.run.history import History
from benchapp.ui.plots.series_plots import EmfPlot, ResistancePlot, VoltagePlot
from benchapp.ui.plots.side_views import FoldedView, SpectrumView
from benchapp.ui.plots.temperature_plot import TemperaturePlot
from benchapp.ui.plots.time_plot import TimePlot
from benchapp.ui.plots.view_choice import VoltageView
from benchapp.ui.theme import Theme

Floats = NDArray[np.float64]
LAST_MINUTE_S = 60.0
_TIME_UNITS = ((7200.0, 3600.0, "h"), (180.0, 60.0, "min"), (0.0, 1.0, "s"))
_LOOK_EVERY_S = 0.5
_LOOKED_BACK = 4096  # readings
_LEAST_AT_ALL = 96
_LEAST_RESISTANCE, _ROOM_FOR_VOLTAGE, _ROOM_FOR_ALL = 160, 250, 340  # px
_AHEAD = 0.15  # of the length shown: room for what comes next


class RunPlots(QWidget):
    """The plots above each other, their time axes linked; that of the temperature where it is read through the run.

    Signals:
        view_changed: another stretch of time is shown (start and end in s).
        pointed: the pointer stands at a time, in s; NaN where it left.
    """

    view_changed = Signal(float, float)
    pointed = Signal(float)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self.resistance = ResistancePlot(theme)
        self.voltage = VoltagePlot(theme)
        self.temperature = TemperaturePlot(theme)
        self.emf = EmfPlot(theme)
        self.folded, self.spectrum = FoldedView(theme), SpectrumView(theme)
        self.view = VoltageView.VALUE
        self._reads_temperature = False
        self._last_readings: tuple[History, Recipe] | None = None
        self._looked_s = 0.0
        self._plots: tuple[TimePlot, ...] = (self.resistance, self.voltage, self.temperature, self.emf)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        self._emf_folded = False
        self._time_unit: tuple[float, str] | None = None  # None: nothing is drawn yet
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self._marks: list[tuple[TimePlot, pg.InfiniteLine]] = []
        self._hairs: list[pg.InfiniteLine] = []
        self._trapped: list[tuple[TimePlot, pg.LinearRegionItem]] = []
        self._trapped_s: list[tuple[float, float]] = []
        for plot, stretch in zip(self._plots, (55, 25, 20, 20), strict=True):
            column.addWidget(plot, stretch)
            if plot is self.voltage:
                for aside in (self.folded, self.spectrum):
                    column.addWidget(aside, stretch + 15)
                    aside.setVisible(False)
            if plot is not self.emf:
                plot.plot.setXLink(self.emf.plot)
            view = plot.plot.getViewBox()
            view.sigRangeChangedManually.connect(self._moved_by_hand)
            plot.plot.scene().sigMouseMoved.connect(self._pointer(plot))
            hair = pg.InfiniteLine(angle=90, movable=False)
            hair.setVisible(False)
            self._hairs.append(hair)
            plot.plot.addItem(hair, ignoreBounds=True)
        self.region = pg.LinearRegionItem(movable=True)
        self.region.setVisible(False)
        self.resistance.plot.addItem(self.region, ignoreBounds=True)
        self.emf.plot.getViewBox().sigXRangeChanged.connect(self._view_changed)
        theme.changed.connect(self._recolour_marks)
        for choice in (self.voltage.choice, self.folded.choice, self.spectrum.choice):
            choice.chosen.connect(self.show_view)
        self.start(None)

    # A run.

    def start(self, recipe: Recipe | None) -> None:
        """Empty axes for a new run; prefixes follow the nominal value or the first block."""
        self._power_known = False
        self._drawn = [0, 0]
        self._temperatures = 0
        self._reads_temperature = recipe is not None and recipe.corrects_temperature
        self._end_s = 0.0
        self.frozen = False
        self.following = True
        self.window_s: float | None = None
        self._show_marks([])
        self.show_trapped([])
        for plot in (self.resistance, self.voltage, self.temperature, self.emf):
            plot.clear()
        self._last_readings = None
        self._set_empty(True)
        self.region.setVisible(False)
        self.resistance.set_limits(None)
        if recipe is None:
            return
        if recipe.nominal_ohm is not None:
            self.resistance.choose_power(recipe.nominal_ohm)
            self.voltage.choose_power(recipe.nominal_ohm * recipe.current_A)

    def show_history(
        self, history: History, recipe: Recipe, slope_V_per_s: float, events: list[Event] | None = None
    ) -> None:
        """Take what is new, and draw it unless the view is frozen."""
        readings, blocks = history.readings.since(self._drawn[0]), history.blocks.since(self._drawn[1])
        if not readings.shape[1] and not blocks.shape[1]:
            return
        if self._drawn == [0, 0]:
            self._set_empty(False)
            self.resistance.set_limits(recipe)
        if not self._power_known and blocks.shape[1]:
            self._power_known = True
            if recipe.nominal_ohm is None:
                self.resistance.choose_power(abs(float(blocks[1, 0])))
                self.voltage.choose_power(float(np.abs(history.readings.since(0)[2]).max()))
            self.emf.choose_power(float(np.abs(blocks[2]).max()))
        if blocks.shape[1]:
            self.resistance.add_blocks(blocks, self._drawn[1])
            self.emf.add_blocks(blocks, slope_V_per_s)
        told = history.temperatures.since(self._temperatures)
        self._temperatures += told.shape[1]
        self.temperature.add(told)
        if readings.shape[1]:
            self.voltage.add_readings(readings)
            self._end_s = float(readings[0, -1])
        self._drawn = [self._drawn[0] + readings.shape[1], self._drawn[1] + blocks.shape[1]]
        if events is not None and len(events) != len(self._marks) // len(self._plots):
            self._show_marks(events)
        self._last_readings = history, recipe
        if not self.frozen:
            self._follow()

    # The view.

    def show_view(self, view: VoltageView) -> None:
        """Another picture of the voltage."""
        self.view = view
        self._arrange()
        self.voltage.show_residuals(view is VoltageView.RESIDUALS)
        for choice in (self.voltage.choice, self.folded.choice, self.spectrum.choice):
            choice.show_view(view)
        self._looked_s = 0.0
        self._draw()

    def next_view(self) -> None:
        """The picture after the one that is shown."""
        views = list(VoltageView)
        self.show_view(views[(views.index(self.view) + 1) % len(views)])

    def _draw_aside(self) -> None:
        """Folded and spectrum, of the last readings, not more often than one can look."""
        now = time.monotonic()
        if self._last_readings is None or now - self._looked_s < _LOOK_EVERY_S:
            return
        self._looked_s = now
        history, recipe = self._last_readings
        rows = history.readings.since(max(0, history.readings.count - _LOOKED_BACK))
        if self.view is VoltageView.FOLDED:
            self.folded.show_readings(rows, recipe)
        elif self.view is VoltageView.SPECTRUM:
            self.spectrum.show_readings(rows, recipe)

    def fold_emf(self, folded: bool) -> None:
        """Without the EMF's plot, where its room is needed."""
        self._emf_folded = folded
        self._arrange()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Fewer plots where there is no room for all: that of R always stays."""
        self._arrange()

    def _arrange(self) -> None:
        """Which plots there is room for, and a time axis under the last of them."""
        room = self.height()
        aside = self.view in (VoltageView.FOLDED, VoltageView.SPECTRUM)
        voltage = room >= _ROOM_FOR_VOLTAGE
        self.resistance.setMinimumHeight(min(_LEAST_RESISTANCE, room))
        self.resistance.setVisible(room >= _LEAST_AT_ALL)
        self.voltage.setVisible(voltage and not aside)
        self.folded.setVisible(voltage and self.view is VoltageView.FOLDED)
        self.spectrum.setVisible(voltage and self.view is VoltageView.SPECTRUM)
        self.temperature.setVisible(self._reads_temperature and voltage)
        self.emf.setVisible(not self._emf_folded and room >= _ROOM_FOR_ALL)
        self._show_time_axis()

    def _show_time_axis(self) -> None:
        seconds, unit = self._time_unit or (1.0, "s")
        last = next((plot for plot in reversed(self._plots) if not plot.isHidden()), None)
        for plot in self._plots:
            plot.set_time_unit(seconds, unit, shown=plot is last and self._time_unit is not None)

    def show_all(self) -> None:
        """The whole run, and follow it."""
        self.window_s, self.following, self.frozen = None, True, False
        self._follow()

    def show_last_minute(self) -> None:
        """The last minute, and follow it."""
        self.window_s, self.following, self.frozen = LAST_MINUTE_S, True, False
        self._follow()

    def toggle_region(self) -> None:
        """A stretch to brush, or none."""
        if self.region.isVisible():
            self.region.setVisible(False)
            return
        (left, right), _ = self.emf.plot.viewRange()
        self.region.setRegion((left + 0.25 * (right - left), left + 0.75 * (right - left)))
        self.region.setVisible(True)

    def _follow(self) -> None:
        if self.following and self._end_s > 0:
            start = 0.0 if self.window_s is None else max(0.0, self._end_s - self.window_s)
            self._set_time_unit(self._end_s)
            (left, right), _ = self.emf.plot.viewRange()
            outgrown = self._end_s > right or self._end_s < 0.5 * right
            if outgrown or start > left + 0.1 * (right - left) or start < left:
                # By steps: an axis that creeps is hard to read, and paints everything again.
                self.emf.plot.setXRange(start, self._end_s + _AHEAD * (self._end_s - start), padding=0)
        self._draw()

    def _draw(self) -> None:
        (start, end), _ = self.emf.plot.viewRange()
        for plot in (self.resistance, self.voltage, self.temperature, self.emf):
            plot.draw(start, end)
        self._draw_aside()

    def _moved_by_hand(self, *_: object) -> None:
        self.following = False

    def _view_changed(self, _: object, view: tuple[float, float]) -> None:
        self.view_changed.emit(*view)
        if not self.following:
            self._draw()

    def _pointer(self, plot: TimePlot) -> object:
        def moved(position: object) -> None:
            if self._end_s <= 0:
                return  # nothing there to point at
            time_s = float(plot.plot.getViewBox().mapSceneToView(position).x())
            for hair in self._hairs:
                hair.setPos(time_s)
                hair.setVisible(True)
            self.pointed.emit(time_s)

        return moved

    def leaveEvent(self, event: object) -> None:
        """No pointer, no hair."""
        for hair in self._hairs:
            hair.setVisible(False)
        self.pointed.emit(float("nan"))

    # Marks and units.

    def _show_marks(self, events: list[Event]) -> None:
        for plot, line in self._marks:
            plot.plot.removeItem(line)
        self._marks = []
        for event in events:
            for plot in self._plots:
                line = pg.InfiniteLine(event.time_s, angle=90)
                plot.plot.addItem(line, ignoreBounds=True)
                self._marks.append((plot, line))
        self._recolour_marks()

    def show_stated(self, stated: Statement | None) -> None:
        """Lay the stated value and interval over the blocks."""
        self.resistance.show_stated(stated)

    def show_trapped(self, stretches: list[tuple[float, float]]) -> None:
        """Shade the readings that a trap concerns."""
        if stretches == self._trapped_s:
            return
        self._trapped_s = stretches
        for plot, shade in self._trapped:
            plot.plot.removeItem(shade)
        self._trapped = []
        for stretch in stretches:
            for plot in (self.resistance, self.voltage):
                shade = pg.LinearRegionItem(stretch, movable=False)
                shade.setZValue(-20)
                plot.plot.addItem(shade, ignoreBounds=True)
                self._trapped.append((plot, shade))
        self._recolour_marks()

    def _recolour_marks(self) -> None:
        for plot, shade in self._trapped:
            shade.setBrush(plot.brush("caution", 70))
            for line in shade.lines:
                line.setPen(plot.pen("caution", 1))
        for plot, line in self._marks:
            line.setPen(plot.pen("ink", 1, Qt.PenStyle.DotLine))
        for hair in self._hairs:
            hair.setPen(self.resistance.pen("line", 1))
        self.region.setBrush(self.resistance.brush("accent", 40))

    def _set_empty(self, empty: bool) -> None:
        for plot in self._plots:
            plot.set_empty(empty)
        self._time_unit = None if empty else (1.0, "s")
        self._arrange()

    def _set_time_unit(self, length_s: float) -> None:
        seconds, unit = next((seconds, unit) for least, seconds, unit in _TIME_UNITS if length_s >= least)
        if (seconds, unit) != self._time_unit:
            self._time_unit = seconds, unit
            self._show_time_axis()
