"""The main window: rail, stage, the frame that tells that the output is on, and OUTPUT OFF on Esc everywhere."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QKeySequence, QPainter, QPaintEvent, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QMainWindow, QWidget

from benchapp.quantity import engineering
from benchapp.session import Session
from benchapp.ui.measure.stage import MeasureStage
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.widgets.painting import Painted
from benchapp.ui.widgets.rail import Rail

_FRAME = 2


class MainWindow(QMainWindow):
    """One window. Closing it ends the run and waits until the output is off."""

    def __init__(self, theme: Theme, controller: RunController, scenario: str) -> None:
        super().__init__()
        self.setWindowTitle("benchapp")
        self.setMinimumSize(1280, 760)
        self.resize(1280, 800)
        self._theme = theme
        self._controller = controller
        self.rail = Rail(theme)
        self.stage = MeasureStage(theme, controller, scenario)
        self._frame = _Frame(theme)
        row = QHBoxLayout(self._frame)
        row.setContentsMargins(_FRAME, _FRAME, _FRAME, _FRAME)
        row.setSpacing(0)
        row.addWidget(self.rail)
        row.addWidget(self.stage, 1)
        self.setCentralWidget(self._frame)
        self.rail.plate.off_wanted.connect(self.output_off)
        self.rail.theme_switch.clicked.connect(self.switch_theme)
        escape = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        escape.setContext(Qt.ShortcutContext.ApplicationShortcut)
        escape.activated.connect(self.output_off)
        theme_keys = QShortcut(QKeySequence("Ctrl+T"), self)
        theme_keys.activated.connect(self.switch_theme)
        controller.polled.connect(self._show_output)
        theme.changed.connect(self._name_theme_switch)
        self._name_theme_switch()

    def output_off(self) -> None:
        """Order the output off; the run ends with it."""
        self._controller.stop("output switched off by the operator")

    def switch_theme(self) -> None:
        """Dark to light and back."""
        self._theme.switch("light" if self._theme.colours.name == "dark" else "dark")

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
        current = "" if state is OutputState.OFF else engineering(session.recipe.current_A, "A")
        self.rail.plate.set_state(state, current)
        self._frame.set_state(state)

    def _name_theme_switch(self) -> None:
        other = "Light" if self._theme.colours.name == "dark" else "Dark"
        self.rail.theme_switch.setText(other)
        self.rail.theme_switch.setToolTip(f"{other} theme (Ctrl+T)")

    def closeEvent(self, event: QCloseEvent) -> None:
        """Output off first."""
        self._controller.shut_down()
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
            on = self._state is not OutputState.OFF
            painter.fillRect(self.rect(), self.colour("output" if on else "surface"))
            painter.fillRect(self.rect().adjusted(_FRAME, _FRAME, -_FRAME, -_FRAME), self.colour("surface"))
