"""The plate says what was read, OFF acts outside a run too, and nothing that types starts or ends a run."""

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from benchapp.bench.armed import Armed, mark, noted
from benchapp.host.order import BenchChoice
from benchapp.logbook.query import list_runs
from benchapp.ui.bench.wiring import WiringDrawing, WiringState
from benchapp.ui.output_watch import Target
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.output_plate import OutputPlate, OutputState
from benchapp.ui.window import MainWindow
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer

_ON = (":SOUR:VOLT:LIM 1", ":SOUR:CURR 0.5", ":OUTP ON")


@pytest.fixture
def bench() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(40))
    with BenchServer(sim) as server:
        yield sim, server


def state(window: MainWindow) -> OutputState:
    return window.rail.plate.state


def test_what_nobody_has_read_is_not_known_and_off_acts_on_it(
    window: MainWindow, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer]
) -> None:
    sim, server = bench
    assert state(window) is OutputState.NONE
    for message in _ON:
        sim.source.process(message)
    window.bench.choose(BenchChoice("", server.source, server.voltmeter))
    qtbot.waitUntil(lambda: state(window) is OutputState.UNKNOWN, timeout=5000)
    QTest.keyClick(window, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: not sim.source.output_on, timeout=5000)
    qtbot.waitUntil(lambda: state(window) is OutputState.OFF, timeout=5000)
    qtbot.waitUntil(lambda: "the output reads off" in window.measure._message.text(), timeout=5000)


def test_off_acts_after_a_fault_of_the_thread_that_reads(
    window: MainWindow, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer]
) -> None:
    sim, server = bench
    for message in _ON:
        sim.source.process(message)
    window._controller.output._orders.put(lambda: [][0])
    window.bench.choose(BenchChoice("", server.source, server.voltmeter))
    window.output_off()
    qtbot.waitUntil(lambda: state(window) is OutputState.OFF, timeout=5000)
    assert not sim.source.output_on


@pytest.mark.parametrize("shown", list(OutputState))
def test_every_state_is_painted(qtbot: QtBot, shown: OutputState) -> None:
    drawing, plate = WiringDrawing(Theme("dark")), OutputPlate(Theme("dark"))
    for widget in (drawing, plate):
        qtbot.addWidget(widget)
        widget.resize(800, 620)
    drawing.show_state(WiringState(output=shown, sign=1))
    plate.set_state(shown)
    with qtbot.captureExceptions() as raised:
        for widget in (drawing, plate):
            assert not widget.grab().isNull()
    assert not raised
    assert f"output {shown}" in drawing.accessibleDescription() + plate.accessibleDescription()


def test_an_identified_source_is_read_while_nothing_runs(
    window: MainWindow, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer]
) -> None:
    sim, server = bench
    window.bench.choose(BenchChoice("", server.source, server.voltmeter))
    window.bench_stage.ask()
    qtbot.waitUntil(lambda: state(window) is OutputState.OFF, timeout=5000)
    for message in _ON:  # from its own panel
        sim.source.process(message)
    qtbot.waitUntil(lambda: state(window) is OutputState.ON, timeout=2000)
    assert window._frame._state is OutputState.ON
    QTest.mouseClick(window.rail.plate, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: state(window) is OutputState.OFF, timeout=5000)
    assert not sim.source.output_on
    server.close()
    qtbot.waitUntil(lambda: state(window) is OutputState.UNKNOWN, timeout=5000)


def test_a_source_that_was_left_on_is_told_at_the_start(
    qtbot: QtBot, tmp_path: Path, bench: tuple[SimulatedBench, BenchServer], monkeypatch: pytest.MonkeyPatch
) -> None:
    sim, server = bench
    for name in ("CONFIG", "DATA", "RUNTIME"):
        monkeypatch.setenv(f"BENCHAPP_{name}", str(tmp_path))
    for message in _ON:
        sim.source.process(message)
    mark(Armed(server.source, "scpi", "a source", "run 3", 1.7e9))
    window = MainWindow(Theme("dark"), lambda: RunController(tmp_path / "log.sqlite", 40.0), "shunt")
    qtbot.addWidget(window)
    window.show()
    qtbot.waitUntil(window._left_behind.isVisible, timeout=5000)
    assert "was switched on by run 3" in window._left_behind.accessibleDescription()
    assert state(window) is OutputState.ON
    QTest.keyClick(window, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: state(window) is OutputState.OFF, timeout=5000)
    assert not sim.source.output_on
    assert not window._left_behind.isVisible()
    assert noted() == []
    window.close()


@pytest.mark.parametrize("pace_ms", [1, 5, 30, 120])
def test_no_bar_code_starts_or_ends_a_run(
    window: MainWindow, qtbot: QtBot, qapp: QApplication, tmp_path: Path, pace_ms: int
) -> None:
    def scan() -> None:
        for widget in (window.measure.main, window.rail.plate, window.measure._again, window.measure._pause, None):
            if widget is not None:
                widget.setFocus()
            for letter in "S 17\tX\r":
                target = qapp.focusWidget() or window
                QTest.qWait(pace_ms)
                if letter == "\r":
                    QTest.keyClick(target, Qt.Key.Key_Return)
                else:
                    QTest.keyClicks(target, letter)

    scan()
    assert not window._controller.running
    assert list_runs(tmp_path / "log.sqlite") == [] if (tmp_path / "log.sqlite").exists() else True
    window.recipe.set_text("blocks", "100000")
    QTest.keyClick(window, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: state(window) is OutputState.ON, timeout=10_000)
    scan()
    # The key that starts does not end; another one does.
    QTest.keyClick(window, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    time.sleep(0.1)
    assert window._controller.running
    QTest.keyClick(window, Qt.Key.Key_E, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: not window._controller.running, timeout=10_000)
    assert not qapp.focusWidget() or not isinstance(qapp.focusWidget(), QLineEdit)


def test_a_silent_source_holds_up_no_off(
    window: MainWindow, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer]
) -> None:
    sim, server = bench
    for message in _ON:
        sim.source.process(message)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"TCPIP::127.0.0.1::{silent.getsockname()[1]}::SOCKET"
        window._controller.output.follow(Target(address, "scpi"))
        window.bench.choose(BenchChoice("", server.source, server.voltmeter))
        qtbot.wait(600)  # the thread that reads is waiting for the silent one by now
        began = time.monotonic()
        window.output_off()
        qtbot.waitUntil(lambda: not sim.source.output_on, timeout=5000)
        assert time.monotonic() - began < 0.5
