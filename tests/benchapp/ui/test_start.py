"""A day begins where the last one ended: instruments asked, what has changed named, nothing switched on."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from benchapp.host.order import BenchChoice
from benchapp.paths import runtime_folder
from benchapp.ui.models import scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.start.remembered import remember, remembered
from benchapp.ui.start.row_list import StartRow
from benchapp.ui.theme import Theme, load_fonts
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow
from drivers.lock import AddressLock
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.benchapp.ui.conftest import gone

Opener = Callable[[], MainWindow]


@pytest.fixture
def settings(tmp_path: Path) -> QSettings:
    return QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)


@pytest.fixture
def bench() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(40))
    with BenchServer(sim) as server:
        yield sim, server


@pytest.fixture
def opened(
    qtbot: QtBot, tmp_path: Path, settings: QSettings, qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Opener]:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    load_fonts()
    windows: list[MainWindow] = []

    def make() -> MainWindow:
        window = MainWindow(Theme("dark"), lambda: RunController(tmp_path / "log.sqlite", 40.0), "shunt", settings)
        windows.append(window)
        window.show()
        return window

    yield make
    for window in windows:
        window.close()
        gone(qapp, window)


def _rows(window: MainWindow) -> dict[str, StartRow]:
    assert window.start is not None
    return {row.name: row for row in window.start.rows.rows}


def _leave(window: MainWindow, server: BenchServer, qtbot: QtBot) -> None:
    window.bench.choose(BenchChoice("", server.source, server.voltmeter, compliance_by_hand="1 V"))
    window.recipe.take({**scenario_texts("shunt"), "serial": "4711"})
    window.bench_stage.ask()
    qtbot.waitUntil(lambda: len(window.bench_stage.identities) == 2, timeout=5_000)
    window.close()


def test_bench_and_recipe_come_back_asked_and_nothing_is_switched_on(
    opened: Opener, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer], monkeypatch: pytest.MonkeyPatch
) -> None:
    sim, server = bench
    _leave(opened(), server, qtbot)
    heard: list[str] = []
    process = sim.source.process

    def listening(message: str) -> str | None:
        heard.append(message)
        return process(message)

    monkeypatch.setattr(sim.source, "process", listening)
    window = opened()
    assert window.start is not None
    assert window._pages.currentWidget() is window.start
    assert window.bench.choice.source == server.source
    assert window.bench.choice.compliance_by_hand == ""  # confirmed by hand once is not confirmed today
    assert window.recipe.texts["serial"] == "4711"
    qtbot.waitUntil(lambda: _rows(window)["voltmeter"].mark == "good", timeout=5_000)
    qtbot.waitUntil(lambda: _rows(window)["output"].mark == "good", timeout=5_000)
    assert _rows(window)["source"].right == "the same as before"
    assert window.start.main.isEnabled()
    assert not sim.source.output_on
    assert all(text.rstrip().endswith("?") for text in heard), heard  # questions only
    window.show_stage(StageName.MEASURE)
    assert window._pages.currentWidget() is window.measure


def test_what_has_changed_is_named(
    opened: Opener, qtbot: QtBot, settings: QSettings, bench: tuple[SimulatedBench, BenchServer]
) -> None:
    _, server = bench
    texts = scenario_texts("shunt")
    choice = BenchChoice("", server.source, "TCPIP::127.0.0.1::9::SOCKET")
    remember(settings, choice, texts, {"source": "Another,One,7,1.0"})
    window = opened()
    qtbot.waitUntil(lambda: _rows(window)["voltmeter"].mark == "failed", timeout=5_000)
    qtbot.waitUntil(lambda: _rows(window)["source"].mark == "caution", timeout=5_000)
    assert "it was Another,One,7,1.0" in _rows(window)["source"].said
    assert window.start is not None
    assert not window.start.main.isEnabled()


def test_check_then_measure_checks(opened: Opener, qtbot: QtBot, bench: tuple[SimulatedBench, BenchServer]) -> None:
    sim, server = bench
    _leave(opened(), server, qtbot)
    window = opened()
    assert window.start is not None
    main = window.start.main
    qtbot.waitUntil(main.isEnabled, timeout=5_000)
    QTest.keyClick(main, Qt.Key.Key_Return)  # as a reader types it
    assert not window._controller.checking
    main.click()
    assert window._controller.checking
    assert window._pages.currentWidget() is window.check_stage
    window.output_off()
    qtbot.waitUntil(lambda: not window._controller.checking, timeout=10_000)
    assert not sim.source.output_on


def test_a_simulated_bench_comes_back_without_a_question(opened: Opener) -> None:
    first = opened()
    first.bench_stage.choose_scenario("bond_wire")
    first.close()
    second = opened()
    assert second.start is None
    assert second.bench.choice.scenario == "bond_wire"
    assert second.recipe.texts["name"] == scenario_texts("bond_wire")["name"]


@pytest.mark.parametrize(
    "told", ["", "{", "[]", '{"choice": 3}', '{"choice": {"scenario": "none such"}, "texts": {}, "identities": {}}']
)
def test_what_cannot_be_understood_is_left_alone(settings: QSettings, told: str) -> None:
    settings.setValue("last", told)
    assert remembered(settings) is None


def test_an_instrument_in_use_is_not_asked(
    opened: Opener, qtbot: QtBot, settings: QSettings, bench: tuple[SimulatedBench, BenchServer],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    sim, server = bench
    heard: list[str] = []
    monkeypatch.setattr(sim.source, "process", heard.append)
    remember(settings, BenchChoice("", server.source, server.voltmeter), scenario_texts("shunt"), {})
    lock = AddressLock(server.source, runtime_folder())
    lock.take("somebody's run")
    try:
        window = opened()
        qtbot.waitUntil(lambda: _rows(window)["source"].mark == "failed", timeout=5_000)
        qtbot.waitUntil(lambda: _rows(window)["voltmeter"].mark == "good", timeout=5_000)
        assert heard == []
        assert window.start is not None
        assert not window.start.main.isEnabled()
    finally:
        lock.release()
