"""The Measure stage: the result on top, the plots under it, statistics and the buttons at the side."""

from __future__ import annotations

import contextlib
import io
import math
import time

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtGui import QGuiApplication, QKeySequence, QShortcut
from PySide6.QtWidgets import QFrame, QHBoxLayout, QInputDialog, QStackedWidget, QVBoxLayout, QWidget

from benchapp.analysis.stretch import stretch_statistics
from benchapp.bench.limits import HouseLimits, load_limits
from benchapp.errors import BenchError
from benchapp.events import EndReason, EventKind, RunStatus
from benchapp.logbook.readings_csv import write_readings
from benchapp.measure.snapshot import RunSnapshot
from benchapp.plan.deciding import WouldDecide, would_decide
from benchapp.quantity import concise, engineering
from benchapp.recipe import Recipe
from benchapp.result.flag_words import Remedy
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import plural
from benchapp.run.seen import RunSeen
from benchapp.ui.check.model import CheckModel
from benchapp.ui.measure.flag_list import FlagDialog, FlagList, flags_of
from benchapp.ui.measure.result_panel import ResultPanel
from benchapp.ui.measure.run_strip import RunStrip
from benchapp.ui.measure.side_pages import ShownRun, SidePages
from benchapp.ui.measure.why_panel import WhyPanel, why_of
from benchapp.ui.models import BenchModel, RecipeModel
from benchapp.ui.plots.run_plots import RunPlots
from benchapp.ui.presentation import ShownResult, emf_slope, nominal_power, present, trapped_stretches
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import MARGIN, Theme, font
from benchapp.ui.widgets.controls import Heading, KeyButton, faint, plain_label

_NUMBERS_EVERY_S = 0.1
_SIDE_WIDTH = 292
_REMEDIES = {
    Remedy.CHECK_LEADS: "Check the leads",
    Remedy.CHANGE_RECIPE: "Change the recipe",
    Remedy.MEASURE_AGAIN: "Prepare again",
    Remedy.SWITCH_OFF: "Switch the output off",
}


class MeasureStage(QWidget):
    """One run from its start to its verdict.

    Signals:
        state_changed: a run began or ended.
        result_shown: a result as presented, its title and its run, for the read-out.
        read_out_wanted: show the read-out.
        check_wanted, recipe_wanted: what would mend a result that is not valid.
        off_wanted: the output is to be switched off.
    """

    state_changed = Signal()
    result_shown = Signal(object, str, str)
    read_out_wanted = Signal()
    check_wanted = Signal()
    recipe_wanted = Signal()
    off_wanted = Signal()

    def __init__(
        self,
        theme: Theme,
        controller: RunController,
        recipe: RecipeModel,
        bench: BenchModel,
        check: CheckModel,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._theme, self._controller, self._recipe, self._bench = theme, controller, recipe, bench
        self._check = check
        self._power: int | None = None
        self._remedy: Remedy | None = None
        self.shown: ShownResult | None = None
        self._limits: HouseLimits | None = None  # read when a run begins
        self._shows_run = False
        self._last_numbers_s = 0.0
        self._build()
        controller.polled.connect(self._show_session)
        controller.failed.connect(self._show_failure)
        controller.attached.connect(self._show_attached)
        for model in (recipe, bench, check):
            model.changed.connect(self._chosen)
        self.show_idle()

    # Building.

    def _build(self) -> None:
        self.panel = ResultPanel(self._theme)
        self.plots = RunPlots(self._theme)
        self.strip = RunStrip(self._theme)
        self.pages = SidePages(self._theme)
        self.flags = FlagList(self._theme)
        self.why = WhyPanel(self._theme)
        self._pointed = faint()
        self._plan = plain_label()
        self._plan.setWordWrap(True)
        self._message = plain_label("")
        self._message.setWordWrap(True)
        self._message.setFont(font(13))
        left = QVBoxLayout()
        left.setSpacing(2)
        left.addWidget(self.why)
        left.addSpacing(4)
        left.addWidget(self.plots, 1)
        left.addWidget(self.strip)
        body = QHBoxLayout()
        body.setSpacing(24)
        body.addLayout(left, 1)
        body.addLayout(self._build_side())
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, 8, MARGIN, MARGIN)
        column.setSpacing(4)
        column.addWidget(self.panel)
        column.addLayout(body, 1)
        self.plots.view_changed.connect(self.strip.show_view)
        self.plots.pointed.connect(self._show_pointed)
        self.flags.opened.connect(self.show_flags_in_full)
        self.plots.region.sigRegionChanged.connect(self._show_region)

    def _build_side(self) -> QVBoxLayout:
        card = QFrame()
        card.setObjectName("card")
        card.setFixedWidth(_SIDE_WIDTH)
        self._pages = QStackedWidget()
        plan = QWidget()
        inside_plan = QVBoxLayout(plan)
        inside_plan.setContentsMargins(0, 0, 0, 0)
        inside_plan.addWidget(Heading("Ready to measure"))
        inside_plan.addWidget(self._plan)
        inside_plan.addStretch(1)
        self._pages.addWidget(plan)
        self._pages.addWidget(self.pages)
        inside = QVBoxLayout(card)
        inside.setContentsMargins(16, 8, 16, 12)
        inside.addWidget(self._pages, 1)
        inside.addWidget(self.flags)
        inside.addWidget(self._pointed)
        inside.addWidget(self._message)
        self.main = KeyButton(
            self._theme, "Start", "Ctrl+Return", self.main_pressed, self, main=True, typed=False, by_key=self.go_on
        )
        end = QShortcut(QKeySequence("Ctrl+E"), self)
        end.activated.connect(self.end)
        self._pause = KeyButton(self._theme, "Pause", "", self.pause, self, typed=False)
        self._pause.show_keys("Space")
        # No Ctrl+I, J or M: to a bar-code reader they are tab and line end.
        self._mark = KeyButton(self._theme, "Mark", "Ctrl+W", self.ask_mark, self, typed=False)
        self._again = KeyButton(self._theme, "Repeat", "Ctrl+R", self.show_idle, self, typed=False)
        self._next = KeyButton(self._theme, "Next", "Ctrl+N", self.prepare_next, self, typed=False)
        self._read_out = KeyButton(self._theme, "Read-out", "Ctrl+F", self.read_out_wanted.emit, self)
        row = QHBoxLayout()
        row.setSpacing(8)
        for button in (self._pause, self._mark, self._again, self._next, self._read_out):
            row.addWidget(button)
        side = QVBoxLayout()
        side.setSpacing(8)
        side.addWidget(card, 1)
        side.addWidget(self.main)
        side.addLayout(row)
        return side

    # What the operator does.

    def start(self) -> None:
        """Begin a run with the chosen recipe on the chosen bench."""
        recipe = self._recipe.recipe
        if recipe is None or not self._bench.choice.complete or self._controller.running or self._check.holds:
            return
        self._power = nominal_power(recipe)
        self.plots.start(recipe)
        self.strip.clear()
        self._message.setText("")
        with contextlib.suppress(BenchError):
            self._limits = load_limits()
        if self._controller.start(recipe, self._bench.choice):
            self._shows_run = True
            self._pages.setCurrentWidget(self.pages)
            self._clear_flags()
            session = self._controller.session
            self.panel.show_head(recipe, f"Run {session.run_id}" if session else "")
            self._update_buttons()
            self.state_changed.emit()

    def _show_attached(self, session: RunSeen) -> None:
        """A run that another window or terminal began, from its first reading."""
        self._power = nominal_power(session.recipe)
        self.plots.start(session.recipe)
        self.strip.clear()
        self._shows_run = True
        self._pages.setCurrentWidget(self.pages)
        self._clear_flags()
        self.panel.show_head(session.recipe, f"Run {session.run_id}")
        self._message.setText(self._controller.attached_in_words)
        self._update_buttons()
        self.state_changed.emit()

    def main_pressed(self) -> None:
        """Start, end here, or next specimen: what the main button says."""
        if self._controller.looks_on and self._controller.running:
            self._controller.leave()
            self.show_idle()
        elif self._controller.running:
            self._controller.stop()
        elif self._shows_run:
            self._mend()
        elif self._check.holds:
            self.check_wanted.emit()
        else:
            self.start()

    def _mend(self) -> None:
        """What the ended run calls for: the next specimen, or what would make this one valid."""
        remedy = self._remedy
        if remedy is Remedy.SWITCH_OFF:
            self.off_wanted.emit()
            return
        if remedy is None:
            self.prepare_next()
            return
        self.show_idle()
        if remedy is Remedy.CHECK_LEADS:
            self.check_wanted.emit()
        elif remedy is Remedy.CHANGE_RECIPE:
            self.recipe_wanted.emit()

    def go_on(self) -> None:
        """By the key: start, resume, or next specimen; it never ends a run."""
        session = self._controller.session
        if not self._controller.running:
            self.main_pressed()
        elif session is not None and session.snapshot is not None and session.snapshot.status is RunStatus.PAUSED:
            session.control.resume()

    def end(self) -> None:
        """End the run under way here."""
        if self._controller.running and not self._controller.looks_on:
            self._controller.stop()

    def hold(self) -> bool:
        """By Space: pause, and nothing else; whether there was something to pause."""
        session = self._controller.session
        if session is None or session.ended or self._controller.looks_on:
            return False
        session.control.pause()
        return True

    def pause(self) -> None:
        """Pause, or go on."""
        session = self._controller.session
        if session is not None and not session.ended:
            paused = session.snapshot is not None and session.snapshot.status is RunStatus.PAUSED
            (session.control.resume if paused else session.control.pause)()

    def ask_mark(self) -> None:
        """Note what happened at this moment."""
        session = self._controller.session
        if session is None or session.ended:
            return
        text, accepted = QInputDialog.getText(self, "Mark this moment", "What happened?")
        if accepted and text.strip():
            session.control.mark(text.strip())

    def toggle_freeze(self) -> None:
        """Hold the picture; the run goes on."""
        self.plots.frozen = not self.plots.frozen
        self._pointed.setText("frozen; the run goes on" if self.plots.frozen else "")

    def copy_picture(self) -> None:
        """The plots as they stand, to the clipboard."""
        QGuiApplication.clipboard().setPixmap(self.plots.grab())

    def copy_data(self) -> None:
        """The readings as CSV text, to the clipboard."""
        session = self._controller.session
        if session is not None:
            stream = io.StringIO()
            pauses = [event.reading for event in session.events if event.kind is EventKind.PAUSE]
            write_readings(stream, session.history.readings.since(0).T.tolist(), pauses, session.recipe.remarks)
            QGuiApplication.clipboard().setText(stream.getvalue())

    # What is shown.

    @property
    def recipe_ready(self) -> bool:
        """Whether a run could start."""
        return self._recipe.recipe is not None and self._bench.choice.complete

    def current_text(self, session: RunSeen) -> str:
        """The current of a run in words; in a pause none flows."""
        snapshot = session.snapshot
        if snapshot is not None and snapshot.status is RunStatus.PAUSED:
            return "0 A, paused"
        return engineering(session.recipe.current_A, "A")

    def show_idle(self) -> None:
        """Ready for the next specimen."""
        self._shows_run = False
        self._pages.setCurrentIndex(0)
        self._clear_flags()
        self._message.setText("")
        self.strip.clear()
        self._chosen()
        self.state_changed.emit()

    def prepare_next(self) -> None:
        """Ready for another specimen: what a check said of the leads of the last one says nothing any longer."""
        self._check.forget()
        self.show_idle()

    def show_message(self, text: str) -> None:
        """Something that happened outside a run."""
        self._message.setText(text)

    def show_plan(self) -> None:
        """What would be measured, told anew."""
        self._chosen()

    def _chosen(self) -> None:
        """Recipe or bench have changed: what would be measured."""
        if self._shows_run:
            self._update_buttons()
            return
        recipe = self._recipe.recipe
        self._power = None if recipe is None else nominal_power(recipe)
        self.plots.start(recipe)
        self.panel.show_head(recipe, "")
        if recipe is None:
            self._plan.setText("The recipe is not complete: go to Specimen.")
        else:
            choice = self._bench.choice
            where = (
                f"simulated bench {choice.scenario.replace('_', ' ')}" if choice.scenario else "your own instruments"
            )
            stop = recipe.stop
            until = (
                plural(stop.blocks, "block")
                if stop.blocks is not None
                else engineering(stop.duration_s, "s", 3)
                if stop.duration_s is not None
                else f"U = {engineering(stop.until_ohm, 'ohm', 3)}"
                if stop.until_ohm is not None
                else f"U = {stop.until_relative * 1e6:g} ppm"
                if stop.until_relative is not None
                else "you end it"
            )
            self._plan.setText(
                f"On {where}.\n\n{self._controller.accuracy_in_words}.\n\n"
                f"Current {engineering(recipe.current_A, 'A', 4)}, at most"
                f" {engineering(recipe.compliance_V, 'V', 3)}.\n\nUntil {until}.{self._check_in_words()}"
                if choice.complete
                else "No bench is chosen: go to Bench."
            )
            self._show(self._presented_nothing())
        self._update_buttons()

    def _check_in_words(self) -> str:
        """What the check says of starting; nothing where there was none."""
        if self._check.shut:
            return f"\n\nStart is held by the check: a run would not be valid ({', '.join(self._check.shut)})."
        if self._check.doubts:
            return f"\n\nStart is held by the check: a run may be doubtful ({', '.join(self._check.doubts)})."
        return "\n\nChecked, and good." if self._check.good else ""

    def _presented_nothing(self) -> ShownResult:
        recipe = self._recipe.recipe
        assert recipe is not None
        return present(None, recipe, power=self._power, status=RunStatus.IDLE, planned_end=False)

    def _show_session(self, session: RunSeen) -> None:
        # Asked first: what is read after the end is the last there is.
        ended, snapshot = session.ended, session.snapshot
        if snapshot is None or not self._shows_run:
            return
        marks = [event for event in session.events if event.kind in (EventKind.MARK, EventKind.PAUSE)]
        stated = snapshot.statement
        self.plots.show_history(session.history, session.recipe, emf_slope(stated), marks)
        now = time.monotonic()
        if now - self._last_numbers_s >= _NUMBERS_EVERY_S or snapshot.end is not None:
            self._last_numbers_s = now
            planned = snapshot.end is not None and snapshot.end.reason is EndReason.RULE
            shown = present(
                stated,
                session.recipe,
                power=self._power,
                status=snapshot.status,
                planned_end=planned,
                deciding=self._deciding(session.recipe, snapshot),
            )
            self.pages.show_run(ShownRun(snapshot, session.history, session.statements, shown))
            self.plots.show_stated(stated)
            if stated is not None:
                self._show_flags(stated)
            current = engineering(session.recipe.current_A, "A", 3)
            self.strip.show_run(session.history.readings.since(0), marks, snapshot, current)
            self._show(shown)
            if stated is not None and stated.part:
                self.panel.show_head(session.recipe, f"Run {session.run_id}, {stated.part}")
            self._update_buttons(running=not ended)
        if ended:
            self._show_end(session)

    def _deciding(self, recipe: Recipe, snapshot: RunSnapshot) -> WouldDecide | None:
        if snapshot.statement is None or self._limits is None:
            return None
        return would_decide(snapshot.statement, recipe, snapshot.time_s, self._limits)

    def _show(self, shown: ShownResult) -> None:
        self.panel.show_result(shown)
        self.shown, self._remedy = shown, shown.remedy
        session = self._controller.session
        run = f"Run {session.run_id}" if self._shows_run and session is not None else ""
        name = "" if self._recipe.recipe is None else self._recipe.recipe.name
        self.result_shown.emit(shown, name, run)

    def _show_flags(self, stated: Statement) -> None:
        """In words, a line each; what makes the result not valid with its evidence above the plots."""
        self.plots.show_trapped(trapped_stretches(stated.flags))
        self.flags.show_flags(flags_of(stated))
        not_valid = stated.validity is Validity.NOT_VALID
        session = self._controller.session
        why = why_of(stated, session.recipe, session.history) if not_valid and session is not None else None
        self.why.show_why(why)
        self.plots.fold_emf(why is not None)

    def _clear_flags(self) -> None:
        self.flags.show_flags([])
        self.why.show_why(None)
        self.plots.fold_emf(False)

    def show_flags_in_full(self) -> None:
        """All that is said of the run, with what to do."""
        if self.flags.flags:
            FlagDialog(self.flags.flags, self).exec()

    def _show_end(self, session: RunSeen) -> None:
        end = session.end
        if end is not None:
            # Where it is the reason it stands above the plots, with its remedy.
            told = end.text if end.reason is EndReason.OPERATOR else f"{end.reason}: {end.text}"
            text = f"{end.reason}" if self.why.isVisible() else told
            if end.reason in (EndReason.INSTRUMENT, EndReason.RECORD, EndReason.BUG):
                text += "\nWhat was read is in the logbook."
            self._message.setText(text)
        self._update_buttons()
        self.state_changed.emit()

    def _show_failure(self, text: str) -> None:
        self._message.setText(text)

    def _show_pointed(self, time_s: float) -> None:
        session = self._controller.session
        if session is None or not math.isfinite(time_s) or not session.history.blocks.count:
            self._pointed.setText("")
            return
        blocks = session.history.blocks.since(0)
        nearest = int(np.argmin(np.abs(blocks[0] - time_s)))
        self._pointed.setText(
            f"{engineering(float(blocks[0, nearest]), 's', 4)}: R {engineering(float(blocks[1, nearest]), 'ohm', 6)},"
            f" EMF {engineering(float(blocks[2, nearest]), 'V', 3)}"
        )

    def _show_region(self) -> None:
        session = self._controller.session
        if session is None or not self.plots.region.isVisible():
            return
        start, end = self.plots.region.getRegion()
        blocks = session.history.blocks.since(0)
        found = stretch_statistics(blocks[0], blocks[1], start, end)
        text = f"{found.blocks} blocks between {engineering(start, 's', 3)} and {engineering(end, 's', 3)}"
        if found.blocks > 1:
            text += (
                f": {concise(found.mean_ohm, found.standard_uncertainty_ohm, 'ohm')},"
                f" s {engineering(found.deviation_ohm, 'ohm', 3)}"
            )
        self._message.setText(text)

    def _update_buttons(self, *, running: bool | None = None) -> None:
        running = self._controller.running if running is None else running
        ended = not running and self._shows_run
        looks_on = running and self._controller.looks_on
        if looks_on:
            self.main.setText("Look on no longer")
            self.main.show_keys("")
        elif running:
            self.main.setText("End here")
            self.main.show_keys("Ctrl+E")
        elif ended:
            self.main.setText("Next specimen" if self._remedy is None else _REMEDIES[self._remedy])
            self.main.show_keys("Ctrl+Return")
        else:
            self.main.setText("See the check" if self._check.holds else "Start")
            self.main.show_keys("Ctrl+Return")
        self.main.setEnabled(running or ended or self.recipe_ready)
        session = self._controller.session
        paused = (
            running
            and session is not None
            and session.snapshot is not None
            and session.snapshot.status is RunStatus.PAUSED
        )
        self._pause.setText("Resume" if paused else "Pause")
        for button in (self._pause, self._mark):
            button.setVisible(running and not looks_on)
        self._again.setVisible(ended)
        self._next.setVisible(ended and self._remedy is not None)
