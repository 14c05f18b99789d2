"""The window as a person uses it: keys and clicks in, what is painted and recorded out."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFontInfo, QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QInputDialog, QWidget
from pytestqt.qtbot import QtBot

from benchapp.host.order import BenchChoice
from benchapp.logbook.query import list_runs
from benchapp.ui.theme import DARK, LIGHT, Colours, font
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.window import MainWindow
from tests.benchapp.ui.contrast import KINDS_OF_SIGHT, contrast, least_difference


def ended(window: MainWindow) -> bool:
    return not window._controller.running and window.measure.main.text() not in ("Start", "End here")


def pixels(image: QImage, colour: str) -> int:
    """How many of every second pixel have exactly that colour."""
    wanted = QColor(colour).rgb()
    return sum(image.pixel(x, y) == wanted for x in range(0, image.width(), 2) for y in range(0, image.height(), 2))


def test_from_start_to_verdict_by_keyboard(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    QTest.keyClick(window, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    qtbot.waitUntil(lambda: ended(window), timeout=20_000)
    assert window.rail.plate.state is OutputState.OFF
    assert window.measure.panel.number.accessibleDescription().startswith("250.0")
    assert window.measure.panel.verdict.accessibleDescription() == "pass, by repeatability"
    run = list_runs(tmp_path / "log.sqlite")[0]
    assert run.status == "completed"
    assert run.readings >= 90  # a stall of this machine may cost a block
    image = window.grab().toImage()
    for role in ("accent", "band", "positive", "negative", "emf", "passed"):
        assert pixels(image, getattr(DARK, role)) > 3, role
    QTest.keyClick(window, Qt.Key.Key_T, Qt.KeyboardModifier.ControlModifier)
    image = window.grab().toImage()
    for role in ("accent", "band", "positive", "negative", "emf", "passed", "surface"):
        assert pixels(image, getattr(LIGHT, role)) > 3, role
    assert pixels(image, DARK.surface) < 50


@pytest.mark.parametrize("how", ["escape", "plate", "escape in a field", "end here", "close"])
def test_the_output_goes_off_on_every_way_out(window: MainWindow, qtbot: QtBot, how: str, tmp_path: Path) -> None:
    window.recipe.set_text("blocks", "100000")
    window.measure.start()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    if how == "escape":
        QTest.keyClick(window, Qt.Key.Key_Escape)
    elif how == "plate":
        QTest.mouseClick(window.rail.plate, Qt.MouseButton.LeftButton)
    elif how == "escape in a field":
        QTest.keyClick(window.specimen.field("name"), Qt.Key.Key_Escape)
    elif how == "end here":
        QTest.mouseClick(window.measure.main, Qt.MouseButton.LeftButton)
    else:
        window.close()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=10_000)
    run = list_runs(tmp_path / "log.sqlite")[0]
    assert run.status == "operator"
    session = window._controller.session
    assert session is not None
    assert session.end is not None
    assert session.end.output_off


def test_pause_and_resume(window: MainWindow, qtbot: QtBot) -> None:
    window.recipe.set_text("blocks", "100000")
    window.measure.start()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    QTest.mouseClick(window.measure._pause, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: window.measure._pause.text() == "Resume", timeout=10_000)
    QTest.mouseClick(window.measure._pause, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: window.measure._pause.text() == "Pause", timeout=10_000)
    QTest.mouseClick(window.measure.main, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: ended(window), timeout=20_000)


def test_a_faulty_value_is_marked_and_nothing_can_start(window: MainWindow) -> None:
    window.recipe.set_text("current", "5")
    assert window.specimen._go.text() == "1 value to mend"
    assert window.specimen.field("current").property("faulty")
    assert not window.measure.main.isEnabled()
    window.recipe.set_text("current", "5 A")
    assert window.measure.main.isEnabled()
    window.bench.choose(BenchChoice("", "TCPIP::127.0.0.1::1::SOCKET", ""))
    assert not window.measure.main.isEnabled()


def test_a_limit_and_a_silent_address_are_told(window: MainWindow, qtbot: QtBot) -> None:
    window.recipe.set_text("current", "11 A")
    window.measure.start()
    assert "exceeds the house limit" in window.measure._message.text()
    window.recipe.set_text("current", "5 A")
    window.bench.choose(BenchChoice("", "TCPIP::127.0.0.1::1::SOCKET", "TCPIP::127.0.0.1::1::SOCKET"))
    window.measure.start()
    qtbot.waitUntil(lambda: ended(window), timeout=20_000)
    assert window.measure.shown is not None
    assert window.measure.shown.note == "broken off"
    assert "cannot be reached" in window.measure.why.accessibleDescription()
    assert window.rail.plate.state is OutputState.UNKNOWN  # nobody has read it


def test_the_shipped_font_is_used_and_has_the_letters_of_the_trade(window: MainWindow) -> None:
    assert QFontInfo(font(14)).family() == "B612"


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda theme: theme.name)
def test_text_has_contrast(theme: Colours) -> None:
    # WCAG 2.1, 1.4.3: 4.5 for text; 1.4.11: 3 for marks and controls.
    for ground in (theme.surface, theme.raised):
        for role in ("ink", "faint", "accent", "positive", "negative", "emf", "passed", "failed"):
            assert contrast(getattr(theme, role), ground) >= 4.5, role
        assert contrast(theme.line, ground) >= 3
    assert contrast(theme.on_output, theme.output) >= 4.5
    assert contrast(theme.on_caution, theme.caution) >= 4.5
    assert contrast(theme.on_accent, theme.accent) >= 4.5
    assert contrast(theme.ink, theme.band) >= 4.5


@pytest.mark.parametrize("sight", KINDS_OF_SIGHT)
@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda theme: theme.name)
def test_colours_that_stand_together_differ_for_every_kind_of_sight(theme: Colours, sight: str) -> None:
    groups = (
        ("positive", "negative", "emf", "ink"),
        ("passed", "failed", "ink"),
        ("caution", "output", "failed", "passed"),
        ("accent", "ink"),
    )
    for group in groups:
        assert least_difference([getattr(theme, role) for role in group], sight) >= 19, group


@pytest.mark.parametrize("what", ["menu", "dialog", "guide"])
def test_escape_switches_off_whatever_has_the_keyboard(window: MainWindow, qtbot: QtBot, what: str) -> None:
    window.recipe.set_text("blocks", "100000")
    window.measure.start()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    dialog = QInputDialog(window)
    if what == "menu":
        window.show_menu()
        shown: QWidget = window.menu
    elif what == "guide":
        window.show_guide()
        assert window._guide is not None
        shown = window._guide
    else:
        dialog.setModal(True)
        dialog.show()
        shown = dialog
    handle = shown.windowHandle()
    window._escape_watch.watch(handle)  # without a window manager nobody tells the focus
    QTest.keyClick(handle, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.OFF, timeout=10_000)
    session = window._controller.session
    assert session is not None
    qtbot.waitUntil(lambda: session.ended, timeout=10_000)
    shown.close()


def test_the_house_limit_is_told_while_one_types(window: MainWindow) -> None:
    window.recipe.set_text("current", "12 A")
    assert "house limit" in window.specimen.field("current").toolTip()
    assert not window.specimen._go.isEnabled()
    window.recipe.set_text("current", "5 A")
    assert window.specimen._go.isEnabled()
