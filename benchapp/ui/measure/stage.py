"""The Measure stage: the result on top, the plots under it, form or statistics and the buttons at the side."""

from __future__ import annotations

import math
import time

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QInputDialog,
    QLabel,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from benchapp.events import EndReason, RunStatus
from benchapp.measure.snapshot import RunSnapshot
from benchapp.quantity import engineering, prefix_power, scaled_text, shown_number, unit_text
from benchapp.recipe import Recipe
from benchapp.session import Session
from benchapp.ui.measure.setup_form import Setup, SetupForm
from benchapp.ui.measure.statistics_table import StatisticsTable
from benchapp.ui.plots.run_plots import FIRST_BLOCK_WITH_MEAN, RunPlots
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.interval_box import IntervalBox
from benchapp.ui.widgets.number import BigNumber
from benchapp.ui.widgets.ruler import RulerReading, ToleranceRuler
from benchapp.ui.widgets.verdict import VerdictLight

_NUMBERS_EVERY_S = 0.1
_SIDE_WIDTH = 292
_NOTES = {"pass": "inside the limits", "fail": "outside the limits", "undecided": "interval across a limit"}


class MeasureStage(QWidget):
    """One run from its set-up to its verdict.

    Signals:
        state_changed: a run began or ended.
    """

    state_changed = Signal()

    def __init__(self, theme: Theme, controller: RunController, scenario: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._controller = controller
        self._setup: Setup | None = None
        self._power: int | None = None
        self._last_numbers_s = 0.0
        self._faults = 0
        self._build(scenario)
        controller.polled.connect(self._show_session)
        controller.failed.connect(self._show_failure)
        theme.changed.connect(self._restyle)
        self._restyle()
        self._show_idle()

    # Building.

    def _build(self, scenario: str) -> None:
        self._title = QLabel()
        self._title.setFont(font(14, bold=True))
        self._summary = QLabel()
        self._summary.setFont(font(13))
        self._run = QLabel()
        self._run.setFont(font(13))
        self._number = BigNumber(self._theme)
        self._interval = IntervalBox(self._theme)
        self._verdict = VerdictLight(self._theme)
        self._ruler = ToleranceRuler(self._theme)
        self._plots = RunPlots(self._theme)
        self._form = SetupForm(scenario)
        self._table = StatisticsTable(self._theme)
        self._message = QLabel("")
        self._message.setWordWrap(True)
        self._message.setFont(font(13))
        head, result, body = QHBoxLayout(), QHBoxLayout(), QHBoxLayout()
        head.addWidget(self._title)
        head.addSpacing(24)
        head.addWidget(self._summary)
        head.addStretch(1)
        head.addWidget(self._run)
        result.addWidget(self._number, 1)
        result.addWidget(self._interval)
        result.addWidget(self._verdict)
        body.setSpacing(24)
        body.addWidget(self._plots, 1)
        body.addLayout(self._build_side())
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, 8, MARGIN, MARGIN)
        column.setSpacing(4)
        for layout in (head, result):
            column.addLayout(layout)
        column.addWidget(self._ruler)
        column.addLayout(body, 1)
        self._form.checked.connect(self._form_checked)

    def _build_side(self) -> QVBoxLayout:
        self._card = QFrame()
        self._card.setObjectName("card")
        self._pages = QStackedWidget()
        self._pages.addWidget(self._form)
        self._pages.addWidget(self._table)
        inside = QVBoxLayout(self._card)
        inside.setContentsMargins(16, 12, 16, 12)
        inside.addWidget(self._pages, 1)
        inside.addWidget(self._message)
        self._main = self._button("Start", "Ctrl+Return", self._main_pressed, main=True)
        self._pause = self._button("Pause", "Ctrl+Space", self._pause_pressed)
        self._mark = self._button("Mark", "Ctrl+M", self._mark_pressed)
        self._again = self._button("Again", "Ctrl+R", self._again_pressed)
        row = QHBoxLayout()
        row.setSpacing(8)
        for button in (self._pause, self._mark, self._again):
            row.addWidget(button)
        side = QVBoxLayout()
        side.setSpacing(8)
        side.addWidget(self._card, 1)
        side.addWidget(self._main)
        side.addLayout(row)
        self._card.setFixedWidth(_SIDE_WIDTH)
        return side

    def _button(self, text: str, keys: str, pressed: object, *, main: bool = False) -> QPushButton:
        button = QPushButton(text)
        button.setProperty("main", main)
        button.setToolTip(f"{text} ({QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText)})")
        button.clicked.connect(pressed)
        shortcut = QShortcut(QKeySequence(keys), self)
        shortcut.activated.connect(button.click)
        return button

    # What the operator does.

    @property
    def form(self) -> SetupForm:
        """The set-up form."""
        return self._form

    def start(self) -> None:
        """Begin a run with what the form says."""
        setup = self._form.setup()
        if setup is None or self._controller.running:
            return
        self._setup = setup
        self._power = None if setup.recipe.nominal_ohm is None else prefix_power(setup.recipe.nominal_ohm)
        self._plots.start(setup.recipe)
        self._number.show_nothing()
        self._message.setText("")
        if self._controller.start(setup):
            self._show_running()

    def _main_pressed(self) -> None:
        if self._controller.running:
            self._controller.stop()
        elif self._pages.currentWidget() is self._table:
            self._show_idle()
        else:
            self.start()

    def _pause_pressed(self) -> None:
        session = self._controller.session
        if session is not None:
            paused = session.snapshot is not None and session.snapshot.status is RunStatus.PAUSED
            (session.control.resume if paused else session.control.pause)()

    def _mark_pressed(self) -> None:
        session = self._controller.session
        if session is None or session.ended:
            return
        text, accepted = QInputDialog.getText(self, "Mark this moment", "What happened?")
        if accepted and text.strip():
            session.control.mark(text.strip())

    def _again_pressed(self) -> None:
        if not self._controller.running:
            self.start()

    # What is shown.

    def _show_idle(self) -> None:
        self._setup = None
        self._pages.setCurrentWidget(self._form)
        self._plots.start(None)
        self._number.show_nothing()
        self._interval.set_lines("95 % interval", "", "nothing measured yet")
        self._verdict.set_verdict("", "", provisional=True)
        self._run.setText("")
        self._summary.setText("")
        self._message.setText("")
        self._update_buttons()
        self._form_checked(self._faults)
        self.state_changed.emit()

    def _show_running(self) -> None:
        assert self._setup is not None
        recipe, session = self._setup.recipe, self._controller.session
        self._pages.setCurrentWidget(self._table)
        self._title.setText(recipe.name or "Specimen without a name")
        signs = recipe.signs.replace("-", "−")
        signs = signs if len(signs) <= 12 else signs[:11] + "…"
        self._summary.setText(
            f"{engineering(recipe.current_A, 'A')},  {signs},  {recipe.nplc:g} PLC,"
            f"  settling {engineering(recipe.settle_s, 's', 3)}"
        )
        self._run.setText(f"Run {session.run_id}" if session is not None else "")
        self._interval.set_lines("95 % interval", f"first result at block {FIRST_BLOCK_WITH_MEAN}", "starting")
        self._verdict.set_verdict("", "no result yet", provisional=True)
        self._update_buttons()
        self.state_changed.emit()

    def _show_session(self, session: Session) -> None:
        snapshot = session.snapshot
        if snapshot is None or self._setup is None:
            return
        self._plots.show_history(session.history, session.recipe, snapshot.estimate.thermal_emf_slope_V_per_s)
        now = time.monotonic()
        if now - self._last_numbers_s >= _NUMBERS_EVERY_S or snapshot.end is not None:
            self._last_numbers_s = now
            self._show_numbers(snapshot, session.recipe)
        self._update_buttons()
        if session.ended:
            self._show_end(session)

    def _show_numbers(self, snapshot: RunSnapshot, recipe: Recipe) -> None:
        estimate = snapshot.estimate
        self._table.show_run(snapshot, recipe)
        if estimate.blocks < FIRST_BLOCK_WITH_MEAN:
            state = f"{snapshot.status}, block {estimate.blocks}"
            self._interval.set_lines("95 % interval", f"first result at block {FIRST_BLOCK_WITH_MEAN}", state)
            return
        if self._power is None:
            self._power = prefix_power(estimate.resistance_ohm)
        R, U, u = estimate.resistance_ohm, estimate.expanded_uncertainty_ohm, estimate.standard_uncertainty_ohm
        if u > 0 and math.isfinite(U):
            shown = shown_number(R, u, U, "ohm", self._power)
            self._number.show_number(shown)
            places = len(shown.digits.partition(".")[2])
            low, high = (scaled_text(value, self._power, places) for value in (R - U, R + U))
            unit = unit_text("ohm", self._power)
            half = scaled_text(U, self._power, places)
            caption = f"95 % interval, ± U = ± {half} {unit}"
            state = f"{estimate.state}, {estimate.blocks} blocks" + (
                f", {snapshot.status}" if snapshot.status is RunStatus.PAUSED else ""
            )
            self._interval.set_lines(caption, f"{low} … {high} {unit}", state)
        self._show_verdict(snapshot, recipe)

    def _show_verdict(self, snapshot: RunSnapshot, recipe: Recipe) -> None:
        assert self._setup is not None
        estimate = snapshot.estimate
        verdict = "" if snapshot.verdict is None else str(snapshot.verdict)
        planned_end = snapshot.end is not None and snapshot.end.reason is EndReason.RULE
        note = _NOTES.get(verdict, "no limits in the recipe") + ("" if planned_end or not verdict else ", so far")
        self._verdict.set_verdict(verdict, note, provisional=not planned_end)
        reading = RulerReading(
            estimate.resistance_ohm,
            estimate.expanded_uncertainty_ohm,
            recipe.low_ohm,
            recipe.high_ohm,
            self._setup.low_text,
            self._setup.high_text,
            verdict,
        )
        self._ruler.set_reading(reading)

    def _show_end(self, session: Session) -> None:
        end = session.end
        if end is not None:
            self._message.setText(f"{end.reason}: {end.text}")
        self._update_buttons()
        self.state_changed.emit()

    def _show_failure(self, text: str) -> None:
        self._message.setText(text)

    def _form_checked(self, faults: int) -> None:
        self._faults = faults
        setup = self._form.setup()
        if self._setup is None:
            self._title.setText(setup.recipe.name if setup else "Set up the measurement")
            if setup:
                recipe = setup.recipe
                self._ruler.set_reading(
                    RulerReading(
                        low=recipe.low_ohm, high=recipe.high_ohm, low_text=setup.low_text, high_text=setup.high_text
                    )
                )
        self._update_buttons()

    def _update_buttons(self) -> None:
        running = self._controller.running
        ended = not running and self._pages.currentWidget() is self._table
        if running:
            self._main.setText("End here")
        elif ended:
            self._main.setText("Next specimen")
        else:
            self._main.setText("Start" if not self._faults else f"{self._faults} value(s) to mend")
        self._main.setEnabled(running or ended or not self._faults)
        session = self._controller.session
        paused = (
            running
            and session is not None
            and session.snapshot is not None
            and session.snapshot.status is RunStatus.PAUSED
        )
        self._pause.setText("Resume" if paused else "Pause")
        self._pause.setVisible(not ended)
        self._mark.setVisible(not ended)
        self._pause.setEnabled(running)
        self._mark.setEnabled(running)
        self._again.setVisible(ended)

    def _restyle(self) -> None:
        faint = f"color: {self._theme.colours.faint}"
        for label in (self._summary, self._run):
            label.setStyleSheet(faint)
        self._title.setTextFormat(Qt.TextFormat.PlainText)
        self._message.setTextFormat(Qt.TextFormat.PlainText)
