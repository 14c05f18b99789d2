from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import Theme, apply_theme, load_fonts
from benchapp.ui.window import MainWindow

SPEED = 40.0


def gone(application: QApplication, window: MainWindow) -> None:
    """Take a window away now: each one that is left is styled again with every theme, and takes its keys."""
    window.deleteLater()
    application.sendPostedEvents(window, QEvent.Type.DeferredDelete.value)


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qapp: QApplication) -> Iterator[MainWindow]:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    load_fonts()
    theme = Theme("dark")
    qapp.setStyle("Fusion")
    apply_theme(qapp, theme.colours)
    window = MainWindow(theme, lambda: RunController(tmp_path / "log.sqlite", SPEED), "shunt")
    qtbot.addWidget(window)
    window.show()
    yield window
    window.close()
    gone(qapp, window)
