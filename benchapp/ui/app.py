"""The window's composition root: makes the parts and hands them to each other."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from sim.scenario import DEFAULT_SCENARIO

if TYPE_CHECKING:
    from benchapp.ui.run_controller import RunController


def can_show() -> bool:
    """Whether a window can be shown here. Qt aborts the process on a dead display, so it is asked before."""
    if os.environ.get("QT_QPA_PLATFORM") in ("offscreen", "minimal", "vnc"):
        return True
    if sys.platform in ("win32", "darwin"):
        return True
    if not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return False
    import subprocess

    program = "from PySide6.QtWidgets import QApplication; QApplication([])"
    try:
        tried = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=20, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return tried.returncode == 0


def run_window(logbook: Path, *, scenario: str = DEFAULT_SCENARIO, speed: float = 1.0) -> int:
    """Show the window until it is closed; the exit status."""
    from PySide6.QtCore import QSettings, QTimer
    from PySide6.QtWidgets import QApplication

    from benchapp.ui.theme import Theme, apply_theme, load_fonts
    from benchapp.ui.window import MainWindow

    application = QApplication(sys.argv[:1])
    application.setApplicationName("benchapp")
    application.setStyle("Fusion")
    load_fonts()
    theme = Theme("dark")
    apply_theme(application, theme.colours)

    def make_controller() -> RunController:
        from benchapp.host.launch import Launcher
        from benchapp.ui.run_controller import RunController

        return RunController(logbook, speed, Launcher())

    window = MainWindow(theme, make_controller, scenario, QSettings("benchapp", "benchapp"), deferred=True)
    sys.excepthook = _report
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: window.close_at_once())
    # Python runs its signal handlers only between its own instructions: let it have some.
    alive = QTimer()
    alive.timeout.connect(lambda: None)
    alive.start(200)
    window.show()
    try:
        return application.exec()
    finally:
        window.close_at_once()


def _report(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """A fault of the window is told and does not end a run."""
    traceback.print_exception(kind, error, trace)
