"""The window's process ends in good order on a signal."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from benchapp.logbook.errors import LogbookError
from benchapp.logbook.query import list_runs
from tests.faults.victim import wait_until

PROGRAM = """
import sys
from pathlib import Path
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from benchapp.ui import app
from benchapp.ui.window import MainWindow
plain = MainWindow.build_stages
def build(window):
    plain(window)
    window.recipe.set_text("blocks", "100000")
    QTimer.singleShot(100, window.measure.start)
MainWindow.build_stages = build
sys.exit(app.run_window(Path(sys.argv[1]), speed=10))
"""


def readings(logbook: Path) -> int:
    """How many the first run has; the file may be in the making."""
    try:
        return list_runs(logbook)[0].readings
    except (LogbookError, IndexError):
        return 0


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGTERM there")
def test_sigterm_with_the_window_open_ends_the_run(tmp_path: Path) -> None:
    logbook = tmp_path / "log.sqlite"
    environment = os.environ | {"HOME": str(tmp_path), "BENCHAPP_CONFIG": str(tmp_path)}
    with subprocess.Popen([sys.executable, "-c", PROGRAM, str(logbook)], env=environment) as process:
        try:
            wait_until(lambda: readings(logbook) > 20)
            process.send_signal(signal.SIGTERM)
            assert process.wait(10) == 0
        finally:
            process.kill()
    run = list_runs(logbook)[0]
    assert (run.status, run.end_text) == ("operator", "the window was closed")
