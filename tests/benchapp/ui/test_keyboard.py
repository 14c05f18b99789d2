"""Nothing that is typed starts, ends or confirms; a bar code goes whole to the number field, whatever has the focus."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QMessageBox, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from benchapp.events import EventKind
from benchapp.logbook.query import list_runs
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow

_ENDS = ("\r", "\t", "\x03", "\x04")
_SYMBOLS = "ABCXYZ0123456789-/. "


def codes(count: int, seed: int) -> list[str]:
    """Codes as labels carry them, spaces among them, of 5 to 12 characters that begin and end with a letter."""
    dice = random.Random(seed)
    return [
        "S" + "".join(dice.choices(_SYMBOLS, k=dice.randrange(3, 11))).replace("  ", " ").strip() + "7"
        for _ in range(count)
    ]


def scan(application: QApplication, window: QWidget, text: str, pace_ms: int, end: str = "\r") -> None:
    """Type as a reader does: a character at a time to whatever has the focus then."""
    for letter in text + end:
        target = (
            application.activePopupWidget() or application.focusWidget() or application.activeModalWidget() or window
        )
        if letter in "\r\t":
            QTest.keyClick(target, Qt.Key.Key_Return if letter == "\r" else Qt.Key.Key_Tab)
        elif letter < " ":
            QTest.keyClick(target, Qt.Key(ord(letter) + 64), Qt.KeyboardModifier.ControlModifier)
        else:
            QTest.keyClicks(target, letter)
        QTest.qWait(pace_ms)


def runs_in(folder: Path) -> int:
    path = folder / "log.sqlite"
    return len(list_runs(path)) if path.exists() else 0


@pytest.mark.parametrize(("pace_ms", "count"), [(1, 5), (25, 3), (50, 2), (120, 1)])
@pytest.mark.parametrize("stage", list(StageName))
def test_a_bar_code_in_every_stage_goes_to_the_number_field(
    window: MainWindow, qtbot: QtBot, qapp: QApplication, tmp_path: Path, stage: StageName, pace_ms: int, count: int
) -> None:
    window.show_stage(stage)
    dice = random.Random(f"{stage} {pace_ms}")
    page = window._pages.currentWidget()
    assert page is not None
    can_have_focus: list[QWidget] = [
        one for one in page.findChildren(QWidget) if one.focusPolicy() != Qt.FocusPolicy.NoFocus and one.isVisible()
    ]

    def others() -> dict[str, str]:
        return {key: text for key, text in window.recipe.texts.items() if key != "serial" and text}

    before = others()
    for code in codes(count, seed=pace_ms):
        dice.choice(can_have_focus).setFocus()
        scan(qapp, window, code, pace_ms, dice.choice(_ENDS))
        QTest.qWait(250)
        assert window.recipe.texts.get("serial") == code
        assert others() == before
        assert not window._controller.running
        assert not window._controller.checking
    assert runs_in(tmp_path) == 0


@pytest.mark.parametrize("pace_ms", [1, 50, 120])
def test_a_bar_code_in_a_run_neither_ends_nor_pauses_it(
    window: MainWindow, qtbot: QtBot, qapp: QApplication, pace_ms: int
) -> None:
    window.recipe.set_text("blocks", "100000")
    window.measure.start()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    for widget in (window.measure.main, window.measure._pause, window.rail.plate, window.measure._read_out):
        widget.setFocus()
        scan(qapp, window, "S 17\tX", pace_ms)
        QTest.qWait(250)
    QTest.qWait(250)
    session = window._controller.session
    assert session is not None
    assert not session.ended
    assert not any(event.kind is EventKind.PAUSE for event in session.events)
    assert window.recipe.texts["serial"] == "S 17 X"
    window.output_off()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=10_000)


def test_space_pauses_and_nothing_else(window: MainWindow, qtbot: QtBot, qapp: QApplication) -> None:
    window.recipe.set_text("blocks", "100000")
    window.measure.start()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    session = window._controller.session
    assert session is not None

    def status() -> str:
        return "" if session.snapshot is None else str(session.snapshot.status)

    qtbot.waitUntil(lambda: status() == "running", timeout=5000)
    for _ in range(2):  # the second one does not resume
        QTest.keyClick(qapp.focusWidget() or window, Qt.Key.Key_Space)
        QTest.qWait(300)
        qtbot.waitUntil(lambda: status() == "paused", timeout=5000)
    QTest.keyClick(window, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: status() == "running", timeout=5000)
    window.output_off()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=10_000)


def test_letters_change_views_only(window: MainWindow, qtbot: QtBot) -> None:
    window.show_stage(StageName.MEASURE)
    window.measure.main.setFocus()
    before = window.measure.pages.stack.currentIndex()
    QTest.keyClicks(window.measure.main, "n")
    qtbot.waitUntil(lambda: window.measure.pages.stack.currentIndex() != before, timeout=1000)
    QTest.keyClicks(window.measure.main, "f")
    qtbot.waitUntil(lambda: window.measure.plots.frozen, timeout=1000)


def test_what_a_person_types_stays_in_its_field(window: MainWindow) -> None:
    window.show_stage(StageName.SPECIMEN)
    field = window.specimen.field("name")
    field.setFocus()
    for gap_ms, letter in zip((90, 160, 70, 110, 60, 140, 80), "Joint 9", strict=True):
        QTest.keyClicks(field, letter)
        QTest.qWait(gap_ms)
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert window.recipe.texts["name"].endswith("Joint 9")
    assert "serial" not in window.recipe.texts


@pytest.mark.parametrize("pace_ms", [1, 60])
def test_a_bar_code_confirms_no_dialog(qtbot: QtBot, qapp: QApplication, window: MainWindow, pace_ms: int) -> None:
    box = QMessageBox(window)
    box.setStandardButtons(QMessageBox.StandardButton.Ok | QMessageBox.StandardButton.Cancel)
    pressed: list[object] = []
    box.buttonClicked.connect(pressed.append)
    box.show()
    qtbot.waitUntil(box.isVisible)
    ok = box.button(QMessageBox.StandardButton.Ok)
    ok.setFocus()
    scan(qapp, box, "S 44 B", pace_ms)
    QTest.keyClick(ok, Qt.Key.Key_Return)
    QTest.keyClick(ok, Qt.Key.Key_Space)
    QTest.qWait(400)
    assert pressed == []
    QTest.keyClick(ok, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert pressed
    box.close()


def test_a_bar_code_in_a_dialog_starts_nothing(
    window: MainWindow, qtbot: QtBot, qapp: QApplication, tmp_path: Path
) -> None:
    from benchapp.ui.specimen.plan_dialog import PlanDialog

    opened = PlanDialog(window._controller.logbook, None, "250 uohm", window)
    opened.show()
    qtbot.waitUntil(opened.isVisible)
    for widget in [*opened.findChildren(QPushButton), *opened.findChildren(QLineEdit)]:
        if widget.isVisible() and widget.isEnabled():
            widget.setFocus()
            scan(qapp, opened, "S 44 B", 1)
    QTest.qWait(250)
    assert opened.isVisible()
    assert not window._controller.running
    assert runs_in(tmp_path) == 0
    opened.close()


def test_one_key_has_one_meaning(window: MainWindow) -> None:
    from PySide6.QtGui import QKeySequence, QShortcut

    keys: Callable[[QKeySequence], str] = QKeySequence.toString
    menu = [keys(action.shortcut()) for action in window.menu.actions() if not action.shortcut().isEmpty()]
    assert len(menu) == len(set(menu))
    bound = {keys(shortcut.key()) for shortcut in window.findChildren(QShortcut)}
    assert not bound & set(menu), "a key of the menu has a second meaning on a stage"
    assert not (bound | set(menu)) & {"Ctrl+I", "Ctrl+J", "Ctrl+M", "Return", "Space", "Ctrl+Shift+J"}
