"""The main window: rail, stages, the frame that tells that the output is on, and OUTPUT OFF on Esc everywhere."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSettings, Qt
from PySide6.QtGui import QAction, QCloseEvent, QKeySequence, QPainter, QPaintEvent, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QMainWindow, QMenu, QStackedWidget, QVBoxLayout, QWidget

from benchapp.errors import InputError
from benchapp.quantity import engineering
from benchapp.recipe import entries_from_text
from benchapp.session import Session
from benchapp.ui.bench.stage import BenchStage
from benchapp.ui.guide import GuideDialog
from benchapp.ui.logbook.stage import LogbookStage
from benchapp.ui.measure.read_out import ReadOut
from benchapp.ui.measure.stage import MeasureStage
from benchapp.ui.models import BenchModel, RecipeModel, scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.specimen.stage import SpecimenStage
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.widgets.painting import Painted
from benchapp.ui.widgets.rail import Rail, StageName

_FRAME = 2


class MainWindow(QMainWindow):
    """One window. Closing it ends the run and waits until the output is off."""

    def __init__(
        self, theme: Theme, controller: RunController, scenario: str, settings: QSettings | None = None
    ) -> None:
        super().__init__()
        self.setWindowTitle("benchapp")
        self.setMinimumSize(1280, 760)
        self.resize(1280, 800)
        self._theme, self._controller, self._settings = theme, controller, settings
        self._output = OutputState.OFF
        self._guide: GuideDialog | None = None
        self.recipe, self.bench = RecipeModel(), BenchModel(scenario)
        self.recipe.take(scenario_texts(scenario))
        self.rail = Rail(theme)
        self.specimen = SpecimenStage(theme, self.recipe, self.bench)
        self.bench_stage = BenchStage(theme, self.bench, self.recipe)
        self.measure = MeasureStage(theme, controller, self.recipe, self.bench)
        self.logbook = LogbookStage(theme, controller.logbook)
        self.read_out = ReadOut(theme)
        self._stages = {
            StageName.SPECIMEN: self.specimen,
            StageName.BENCH: self.bench_stage,
            StageName.MEASURE: self.measure,
            StageName.LOGBOOK: self.logbook,
        }
        self._build()
        self._connect()
        self._build_menu()
        self.show_stage(StageName.MEASURE)
        self._restore()
        self.measure.main.setFocus()

    # Building.

    def _build(self) -> None:
        self._pages = QStackedWidget()
        for stage in self._stages.values():
            self._pages.addWidget(stage)
        work = QWidget()
        row = QHBoxLayout(work)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.rail)
        row.addWidget(self._pages, 1)
        self._whole = QStackedWidget()
        self._whole.addWidget(work)
        self._whole.addWidget(self.read_out)
        self._frame = _Frame(self._theme)
        column = QVBoxLayout(self._frame)
        column.setContentsMargins(_FRAME, _FRAME, _FRAME, _FRAME)
        column.addWidget(self._whole)
        self.setCentralWidget(self._frame)

    def _connect(self) -> None:
        for name, tab in self.rail.tabs.items():
            tab.chosen.connect(self._shower(name))
        for plate in (self.rail.plate, self.read_out.plate):
            plate.off_wanted.connect(self.output_off)
        escape = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        escape.setContext(Qt.ShortcutContext.ApplicationShortcut)
        escape.activated.connect(self.output_off)
        self.specimen.done.connect(self._shower(StageName.BENCH))
        self.bench_stage.done.connect(self._shower(StageName.MEASURE))
        self.logbook.repeat_wanted.connect(self._repeat)
        self.measure.read_out_wanted.connect(self.show_read_out)
        self.measure.result_shown.connect(self.read_out.show_result)
        self.measure.state_changed.connect(self._state_changed)
        self.read_out.left.connect(self.leave_read_out)
        self.read_out.main_wanted.connect(self.measure.main_pressed)
        self._controller.polled.connect(self._show_output)
        for model in (self.recipe, self.bench):
            model.changed.connect(self._mark_done)
        self._mark_done()

    def _shower(self, name: StageName) -> Callable[[], None]:
        return lambda: self.show_stage(name)

    def _build_menu(self) -> None:
        menu = QMenu(self)
        for number, name in enumerate(StageName, 1):
            self._action(menu, f"{name}", f"Ctrl+{number}", self._shower(name))
        menu.addSeparator()
        plots = self.measure.plots
        self._action(menu, "Whole run, follow it", "Ctrl+0", plots.show_all)
        self._action(menu, "Last minute, follow it", "Ctrl+9", plots.show_last_minute)
        self._action(menu, "Freeze the picture", "Ctrl+Z", self.measure.toggle_freeze)
        self._action(menu, "Brush a stretch", "Ctrl+B", plots.toggle_region)
        self._action(menu, "Copy picture", "Ctrl+Shift+C", self.measure.copy_picture)
        self._action(menu, "Copy readings", "Ctrl+Shift+D", self.measure.copy_data)
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
        """Order the output off; the run ends with it."""
        self._controller.stop("output switched off by the operator")

    def switch_theme(self) -> None:
        """Dark to light and back."""
        self._theme.switch("light" if self._theme.colours.name == "dark" else "dark")

    def show_stage(self, name: StageName) -> None:
        """Go to a stage."""
        if name is StageName.LOGBOOK:
            self.logbook.refresh()
        self._pages.setCurrentWidget(self._stages[name])
        self.rail.show_stage(name)
        session = self._controller.session
        if name is StageName.BENCH and session is not None:
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
        """Method, wiring, cautions, words."""
        if self._guide is None:
            self._guide = GuideDialog(self)
        self._guide.show()
        self._guide.raise_()

    def _repeat(self, recipe_toml: str) -> None:
        try:
            entries = entries_from_text(recipe_toml, "logbook")
        except InputError:
            return
        self.recipe.take({key: str(entry.value) for key, entry in entries.items()})
        self.show_stage(StageName.MEASURE)

    # What is shown.

    def _mark_done(self) -> None:
        self.rail.tabs[StageName.SPECIMEN].set_done(self.recipe.recipe is not None)
        self.rail.tabs[StageName.BENCH].set_done(self.bench.choice.complete)

    def _state_changed(self) -> None:
        self.read_out.set_main(self.measure.main.text(), enabled=self.measure.main.isEnabled())

    def _show_output(self, session: Session) -> None:
        snapshot = session.snapshot
        if snapshot is None:
            return
        if not snapshot.output_on:
            state = OutputState.OFF
        elif snapshot.end is not None:
            state = OutputState.UNKNOWN  # ended, and not proved off
        else:
            state = OutputState.ON
        self._output = state
        current = "" if state is OutputState.OFF else engineering(session.recipe.current_A, "A")
        for plate in (self.rail.plate, self.read_out.plate):
            plate.set_state(state, current)
        self._frame.set_state(state)
        self.bench_stage.show_session(session, state)

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

    def closeEvent(self, event: QCloseEvent) -> None:
        """Output off first."""
        self._controller.shut_down()
        if self._settings is not None:
            self._settings.setValue("geometry", self.saveGeometry())
            self._settings.setValue("theme", self._theme.colours.name)
        event.accept()


class _Frame(Painted):
    """The field behind everything; its edge takes the output's colour while the output is on."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._state = OutputState.OFF

    def set_state(self, state: OutputState) -> None:
        if state is not self._state:
            self._state = state
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Edge, then the surface inside it."""
        with QPainter(self) as painter:
            inside = self.rect().adjusted(_FRAME, _FRAME, -_FRAME, -_FRAME)
            painter.fillRect(self.rect(), self.colour("surface"))
            if self._state is OutputState.ON:
                painter.fillRect(self.rect(), self.colour("output"))
            elif self._state is OutputState.UNKNOWN:
                pen = painter.pen()
                pen.setColor(self.colour("output"))
                pen.setWidth(2 * _FRAME)
                pen.setStyle(Qt.PenStyle.DashLine)
                painter.setPen(pen)
                painter.drawRect(self.rect())
            painter.fillRect(inside, self.colour("surface"))
