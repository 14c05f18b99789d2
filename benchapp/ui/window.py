"""The main window: rail, stages, the frame that tells that the output is on, and OUTPUT OFF on Esc everywhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QSettings, Qt
from PySide6.QtGui import (
    QAction,
    QCloseEvent,
    QGuiApplication,
    QKeySequence,
    QShortcut,
)
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QMainWindow,
    QMenu,
    QMessageBox,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from benchapp.bench.output import OutputSeen, OutputState
from benchapp.errors import InputError
from benchapp.ui.keyboard import Keyboard
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.caution_plate import CautionPlate
from benchapp.ui.widgets.controls import tip
from benchapp.ui.widgets.output_frame import FRAME, EscapeWatch, OutputFrame
from benchapp.ui.widgets.rail import Rail, StageName

if TYPE_CHECKING:
    from benchapp.bench.armed import Armed
    from benchapp.run.seen import RunSeen
    from benchapp.ui.guide.dialog import GuideDialog
    from benchapp.ui.run_controller import RunController
    from benchapp.ui.start.page import StartPage
    from benchapp.ui.start.remembered import Remembered
    from benchapp.ui.study.conductor import StudyConductor


class MainWindow(QMainWindow):
    """One window. Closing it ends the run and waits until the output is off.

    `make_controller` is called when the stages are built: at once, or with `deferred` after the first paint.
    """

    def __init__(
        self,
        theme: Theme,
        make_controller: Callable[[], RunController],
        scenario: str,
        settings: QSettings | None = None,
        *,
        deferred: bool = False,
    ) -> None:
        super().__init__()
        self.setWindowTitle("benchapp")
        self.setMinimumSize(960, 540)
        self.resize(1280, 800)
        self._theme, self._settings = theme, settings
        self._make_controller, self._scenario = make_controller, scenario
        self._output = OutputState.NONE
        self._guide: GuideDialog | None = None
        self._conductor: StudyConductor | None = None
        self.start: StartPage | None = None  # only over instruments that were in use before
        self._built = False
        self._asks = True  # before it closes over a run
        self.rail = Rail(theme)
        self._build_shell()
        self._restore()
        if deferred:
            # A timer alone would come before the first paint.
            self._frame.first_painted.connect(self.build_stages, Qt.ConnectionType.QueuedConnection)
        else:
            self.build_stages()

    # Building.

    def _build_shell(self) -> None:
        self._pages = QStackedWidget()
        work = QWidget()
        row = QHBoxLayout(work)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.rail)
        row.addWidget(self._pages, 1)
        self._whole = QStackedWidget()
        self._whole.addWidget(work)
        self._frame = OutputFrame(self._theme)
        column = QVBoxLayout(self._frame)
        column.setContentsMargins(FRAME, FRAME, FRAME, FRAME)
        self._left_behind = CautionPlate(self._theme)
        self._left_behind.setVisible(False)
        column.addWidget(self._left_behind)
        column.addWidget(self._whole)
        self.setCentralWidget(self._frame)

    def build_stages(self) -> None:
        """Make the stages and let them know each other."""
        from benchapp.ui.stages import make_stages
        from benchapp.ui.start.remembered import remembered

        self._controller = self._make_controller()
        self._use_remembered_accuracy()
        before = None if self._settings is None else remembered(self._settings)
        self._stages = stages = make_stages(self._theme, self._controller, self._scenario)
        self.recipe, self.bench = stages.recipe, stages.bench
        self.specimen, self.bench_stage, self.measure = stages.specimen, stages.bench_stage, stages.measure
        self.check_stage, self.study = stages.check_stage, stages.study
        self.logbook, self.read_out = stages.logbook, stages.read_out
        for name in StageName:
            self._pages.addWidget(stages.page(name))
        self._whole.addWidget(self.read_out)
        self._built = True
        self._connect()
        self._build_menu()
        self.show_stage(StageName.MEASURE)
        self.measure.main.setFocus()
        if before is not None:
            self._go_on(before)
        self._controller.look_for_runs()

    def _connect(self) -> None:
        for name, tab in self.rail.tabs.items():
            tab.chosen.connect(self._shower(name))
        for plate in (self.rail.plate, self.read_out.plate):
            plate.off_wanted.connect(self.output_off)
        escape = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        escape.setContext(Qt.ShortcutContext.ApplicationShortcut)
        escape.activated.connect(self._escape)
        # A shortcut is silent while a dialog or a menu has the keyboard; this is not.
        self._escape_watch = EscapeWatch(self.output_off)
        application = QGuiApplication.instance()
        assert isinstance(application, QGuiApplication)
        application.focusWindowChanged.connect(self._escape_watch.watch)
        self._keyboard = Keyboard(self._single_key)
        self._keyboard.code.connect(self._take_code)
        self._keyboard.start()
        self.specimen.done.connect(self._shower(StageName.BENCH))
        self.specimen.plan_wanted.connect(self.plan)
        self.bench_stage.done.connect(self._shower(StageName.CHECK))
        self.check_stage.check_wanted.connect(self.check)
        self.check_stage.start_wanted.connect(self._measure)
        self.check_stage.bench_wanted.connect(self._shower(StageName.BENCH))
        self._controller.checked.connect(self._stages.check.end)
        self.study.start_wanted.connect(self._start_study)
        self.study.apply_wanted.connect(self._apply_study)
        self.logbook.repeat_wanted.connect(self._repeat)
        self.measure.check_wanted.connect(self._shower(StageName.CHECK))
        self.measure.off_wanted.connect(self.output_off)
        self.measure.recipe_wanted.connect(self._shower(StageName.SPECIMEN))
        self.measure.read_out_wanted.connect(self.show_read_out)
        self.measure.result_shown.connect(self.read_out.show_result)
        self.measure.state_changed.connect(self._state_changed)
        self.read_out.left.connect(self.leave_read_out)
        self.read_out.main_wanted.connect(self.measure.main_pressed)
        self._controller.polled.connect(self._show_run)
        self._controller.output.seen.connect(self._show_output)
        self._controller.output.said.connect(self._tell)
        self._controller.output.found_left_behind.connect(self._tell_of_left_behind)
        self.bench_stage.identified.connect(self._controller.output.follow)
        self.bench.changed.connect(self._name_source)
        self._name_source()
        for model in (self.recipe, self.bench, self._stages.check):
            model.changed.connect(self._mark_done)
        self._mark_done()
        self._controller.output.begin()
        self._controller.attached.connect(self._show_attached)

    def _go_on(self, before: Remembered) -> None:
        """Bench and recipe as they were left. One's own instruments are asked who they are; nothing is switched on."""
        from benchapp.ui.start.page import StartPage

        self.bench.choose(before.choice)
        if before.texts:
            self.recipe.take(before.texts)
        if before.choice.scenario or not before.choice.complete:
            return
        self.start = page = StartPage(self._theme, before, self.recipe, self.bench, self._controller)
        self._pages.addWidget(page)
        self.bench_stage.answered.connect(page.show_answer)
        self._controller.output.seen.connect(lambda seen: page.show_output(seen.state))
        page.ask_wanted.connect(self.bench_stage.ask)
        page.check_wanted.connect(self.check)
        page.recipe_wanted.connect(self._shower(StageName.SPECIMEN))
        page.bench_wanted.connect(self._shower(StageName.BENCH))
        page.guide_wanted.connect(self.show_guide)
        self._pages.setCurrentWidget(page)
        page.serial.setFocus()
        self.bench_stage.ask()

    def _remember(self, settings: QSettings) -> None:
        from benchapp.ui.start.remembered import remember

        heard = self.bench_stage.identities
        before = {} if self.start is None else self.start.identities
        remember(settings, self.bench.choice, self.recipe.texts, {**before, **heard})

    def _single_key(self, key: str) -> bool:
        """Letters change views only; Space pauses, nothing else."""
        if key == " ":
            return self.measure.hold()
        acts: dict[str, Callable[[], object]] = {
            "f": self.measure.toggle_freeze,
            "v": self.measure.plots.next_view,
            "r": self.measure.plots.resistance.toggle_from_mean,
            "n": self.measure.pages.next_page,
            "?": self.show_menu,
        }
        act = acts.get(key.lower())
        if act is not None:
            act()
        return act is not None

    def _take_code(self, code: str) -> None:
        """A bar code is the number of the next specimen, wherever it was typed."""
        self.recipe.set_text("serial", code)
        self._tell(f"Number {code} was read: it is that of the next specimen")

    def _shower(self, name: StageName) -> Callable[[], None]:
        return lambda: self.show_stage(name)

    def _build_menu(self) -> None:
        menu = QMenu(self)
        for name in StageName:
            self._action(menu, f"{name}", name.keys, self._shower(name))
        menu.addSeparator()
        plots = self.measure.plots
        self._action(menu, "Whole run, follow it", "Ctrl+0", plots.show_all)
        self._action(menu, "Last minute, follow it", "Ctrl+9", plots.show_last_minute)
        self._action(menu, "Freeze the picture", "", self.measure.toggle_freeze).setText("Freeze the picture\tF")
        self._action(menu, "Next picture of the voltage", "", plots.next_view).setText("Next picture of the voltage\tV")
        self._action(menu, "R from its mean", "", plots.resistance.toggle_from_mean).setText("R from its mean\tR")
        self._action(menu, "Select a stretch", "Ctrl+B", plots.toggle_region)
        self._action(menu, "Copy picture", "Ctrl+Shift+C", self.measure.copy_picture)
        self._action(menu, "Copy readings", "Ctrl+Shift+D", self.measure.copy_data)
        menu.addSeparator()
        self._action(menu, "Details: numbers, budget, stability; rare fields", "Ctrl+D", self._details)
        self._action(menu, "Accuracy data …", "Ctrl+Shift+O", self.choose_card)
        self._action(menu, "What is said of the run …", "Ctrl+Shift+W", self.measure.show_flags_in_full)
        menu.addSeparator()
        self._action(menu, "Dark or light", "Ctrl+T", self.switch_theme)
        self._action(menu, "Guide", "F1", self.show_guide)
        self._action(menu, "OUTPUT OFF", "", self.output_off).setText("OUTPUT OFF\tEsc")
        self._action(menu, "Quit", "Ctrl+Q", self.close)
        self.menu = menu
        self.rail.menu_button.clicked.connect(self.show_menu)
        open_menu = QShortcut(QKeySequence("F10"), self)
        open_menu.activated.connect(self.show_menu)

    def _action(self, menu: QMenu, text: str, keys: str, act: Callable[[], object]) -> QAction:
        action = QAction(text, self)
        if keys:
            action.setShortcut(QKeySequence(keys))
        action.triggered.connect(act)
        menu.addAction(action)
        self.addAction(action)
        return action

    # What the operator does.

    def output_off(self) -> None:
        """Order the output off, in a run and outside one; a run ends with it."""
        if self._built:
            self._controller.off("output switched off by the operator")

    def _details(self) -> None:
        """More of what the stage shows."""
        if self._pages.currentWidget() is self.specimen:
            self.specimen.form.toggle_rare()
        else:
            self.measure.pages.next_page()

    def _escape(self) -> None:
        """Output off, always; only where it was off already it closes the dialog in front, too."""
        was_off = self._output in (OutputState.OFF, OutputState.NONE)
        self.output_off()
        front = QApplication.activeWindow()
        if was_off and isinstance(front, QDialog):
            front.reject()

    def choose_card(self) -> None:
        """Read the accuracy of the instruments from a file; it holds from the next run on."""
        path, _ = QFileDialog.getOpenFileName(self, "Accuracy data", "", "Accuracy data (*.toml)")
        if path:
            self.use_card(Path(path))

    def use_card(self, path: Path) -> None:
        """The accuracy data at a path, from now on and at the next start; a fault is shown and what is in use stays."""
        try:
            self._controller.use_accuracy(path)
        except InputError as error:
            QMessageBox.warning(self, "Accuracy data", tip(str(error)))
            return
        if self._settings is not None:
            self._settings.setValue("accuracy", str(path))
        self.measure.show_plan()

    def _use_remembered_accuracy(self) -> None:
        path = "" if self._settings is None else str(self._settings.value("accuracy", "") or "")
        if path:
            try:
                self._controller.use_accuracy(Path(path))
            except InputError as error:
                self._controller.accuracy_fault = str(error)

    def plan(self) -> None:
        """From a target uncertainty to a recipe."""
        from benchapp.ui.specimen.plan_dialog import PlanDialog

        nominal = self.recipe.texts.get("nominal", "")
        dialog = PlanDialog(self._controller.logbook, self._controller.card, nominal, self)
        if dialog.exec() and dialog.recipe is not None:
            self.recipe.take_planned(dialog.recipe)

    def check(self, part: float | None = None) -> bool:
        """Leads and contacts at a part of the current, 1 % where none is named; False where there is no recipe, or
        something is under way.
        """
        from benchapp.check.take import DEFAULT_PART

        recipe = self.recipe.recipe
        if recipe is None or self._controller.running or self._controller.checking:
            self._tell("A check needs a recipe without faults, and a bench that nothing else uses")
            return False
        self.show_stage(StageName.CHECK)
        self._stages.check.begin()
        return self._controller.check(recipe, self.bench.choice, DEFAULT_PART if part is None else part)

    def _measure(self) -> None:
        """A run from another stage; one that is under way is only shown."""
        self.show_stage(StageName.MEASURE)
        if self._controller.running:
            return
        self.measure.show_idle()
        self.measure.start()

    def _start_study(self, kind: str) -> None:
        """Its runs go on on the Measure stage."""
        from benchapp.ui.study.conductor import StudyConductor

        if self._conductor is None:
            conductor = StudyConductor(self._controller, self.recipe, self._measure, self._ask_for_a_hand)
            conductor.told.connect(self.study.message.setText)
            conductor.done.connect(self._show_study)
            self._conductor = conductor
        recipe = self.recipe.recipe
        if recipe is not None:
            self._conductor.start(kind, recipe, by_hand=not self.bench.choice.scenario)

    def _show_study(self, study_id: int) -> None:
        """What it concludes, when its last run is there."""
        self.show_stage(StageName.STUDY)
        self.study.show_finished(study_id)

    def _ask_for_a_hand(self, text: str) -> bool:
        """Before a run that needs one; the output is off."""
        buttons = QMessageBox.StandardButton.Ok | QMessageBox.StandardButton.Cancel
        return QMessageBox.information(self, "Study", tip(text), buttons) == QMessageBox.StandardButton.Ok

    def _apply_study(self, changes: dict[str, str]) -> None:
        told = "\n".join(
            f"{key}: {self.recipe.texts.get(key, '') or '(none)'} → {text}" for key, text in changes.items()
        )
        buttons = QMessageBox.StandardButton.Ok | QMessageBox.StandardButton.Cancel
        if QMessageBox.question(self, "Apply to the recipe", tip(told), buttons) == QMessageBox.StandardButton.Ok:
            self.recipe.take({**self.recipe.texts, **changes}, self.recipe.path)

    def switch_theme(self) -> None:
        """Dark to light and back."""
        self._theme.switch("light" if self._theme.colours.name == "dark" else "dark")

    def show_stage(self, name: StageName) -> None:
        """Go to a stage."""
        if not self._built:
            return
        if name is StageName.LOGBOOK:
            self.logbook.refresh()
        if name is StageName.SPECIMEN:
            self.specimen.refresh()  # a run since may have told more of the bench
        if name is StageName.STUDY:
            self.study.refresh()
        self._pages.setCurrentWidget(self._stages.page(name))
        self.rail.show_stage(name)
        session = self._controller.session
        if name is StageName.BENCH and session is not None and not session.ended:
            self.bench_stage.show_session(session, self._output)

    def show_read_out(self) -> None:
        """The result alone, large."""
        self._whole.setCurrentWidget(self.read_out)
        self._state_changed()

    def leave_read_out(self) -> None:
        """Back to the stages."""
        self._whole.setCurrentIndex(0)

    def show_menu(self) -> None:
        """All commands with their keys."""
        button = self.rail.menu_button
        self.menu.popup(button.mapToGlobal(button.rect().topRight()))

    def show_guide(self) -> None:
        """The guide; from a field of the recipe, what it says of that field."""
        from benchapp.ui.guide.dialog import GuideDialog

        key = self.specimen.form.key_with_focus
        if self._guide is None:
            self._guide = GuideDialog(self._theme, self)
        if key:
            self._guide.show_field(key)
        self._guide.show()
        self._guide.raise_()

    def _repeat(self, recipe_toml: str) -> None:
        self.recipe.take_text(recipe_toml)
        self.show_stage(StageName.MEASURE)

    # What is shown.

    def _mark_done(self) -> None:
        self.rail.tabs[StageName.SPECIMEN].set_done(self.recipe.recipe is not None)
        self.rail.tabs[StageName.BENCH].set_done(self.bench.choice.complete)
        self.rail.tabs[StageName.CHECK].set_done(self._stages.check.good)

    def _state_changed(self) -> None:
        self.read_out.set_main(self.measure.main.text(), enabled=self.measure.main.isEnabled())

    def _show_output(self, seen: OutputSeen) -> None:
        """As it was read, at once: no record and no picture is waited for."""
        self._output = seen.state
        session = self._controller.session
        running = session is not None and not session.ended
        current = self.measure.current_text(session) if running and session and seen.state is OutputState.ON else ""
        for plate in (self.rail.plate, self.read_out.plate):
            plate.set_state(seen.state, current, seen.text)
        self._frame.set_state(seen.state)
        self.bench_stage.show_output(seen.state)
        if running and session:
            self.bench_stage.show_session(session, seen.state)
        if seen.state is OutputState.OFF:
            self._left_behind.setVisible(False)

    def _show_run(self, session: RunSeen) -> None:
        if self._output is OutputState.ON and not session.ended:
            for plate in (self.rail.plate, self.read_out.plate):
                plate.set_state(self._output, self.measure.current_text(session), "")
        self.bench_stage.show_session(session, self._output)

    def _name_source(self) -> None:
        """The chosen source is one whose output is not known before it was read."""
        from benchapp.ui.output_watch import Target

        choice = self.bench.choice
        own = not choice.scenario and choice.source.strip()
        self._controller.output.name(Target(choice.source.strip(), choice.source_dialect.strip()) if own else None)

    def _tell(self, text: str) -> None:
        self.measure.show_message(text)
        self.bench_stage.show_message(text)
        self.check_stage.show_message(text)

    def _tell_of_left_behind(self, found: list[tuple[Armed, OutputState]]) -> None:
        """Somebody switched a source on and was killed: what it reads now, and OFF under it."""
        told = [
            f"{armed.address} was switched on by {armed.holder or 'a program'} at {armed.when}, which ended without"
            f" proving it off. Its output reads: {state}."
            for armed, state in found
        ]
        self._left_behind.show_caution("A source may have been left on: press Esc, or OFF at the left", "\n".join(told))
        self._left_behind.setVisible(any(state is not OutputState.OFF for _, state in found))

    # Coming and going.

    def _restore(self) -> None:
        if self._settings is None:
            return
        geometry = self._settings.value("geometry")
        if geometry is not None:
            self.restoreGeometry(geometry)
        name = str(self._settings.value("theme", "dark"))
        if name != self._theme.colours.name and name in ("dark", "light"):
            self._theme.switch(name)

    def _show_attached(self, _: RunSeen) -> None:
        self.show_stage(StageName.MEASURE)

    def close_at_once(self) -> None:
        """Without a question: what a signal asks for."""
        self._asks = False
        self.close()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Output off first; or, where the run can do without us, as the operator says."""
        if self._built:
            if self._asks and self._controller.outlives_window and not self._controller.looks_on and not self._ask():
                event.ignore()
                return
            if self._settings is not None:
                self._remember(self._settings)
            self._controller.shut_down()
            self._keyboard.stop()
        if self._settings is not None:
            self._settings.setValue("geometry", self.saveGeometry())
            self._settings.setValue("theme", self._theme.colours.name)
        event.accept()

    def _ask(self) -> bool:
        """Whether to close over a run under way; False where not."""
        from benchapp.ui.leaving import Leaving, ask_leaving

        session = self._controller.session
        assert session is not None
        chosen = ask_leaving(session.recipe, self)
        if chosen is Leaving.LET_IT_RUN:
            self._controller.leave()
        return chosen is not Leaving.STAY
