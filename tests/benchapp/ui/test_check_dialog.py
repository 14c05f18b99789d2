"""The check of leads and contacts from the window: what it shows, and that OFF ends it at any time."""

import pytest
from PySide6.QtWidgets import QTableWidget
from pytestqt.qtbot import QtBot

from benchapp.bench.output import OutputState
from benchapp.ui.models import scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.window import MainWindow
from sim.bench import SimulatedBench


def _chosen(window: MainWindow, scenario: str) -> RunController:
    window.bench_stage.choose_scenario(scenario)
    window.recipe.take(scenario_texts(scenario))
    return window._controller


@pytest.fixture
def benches(monkeypatch: pytest.MonkeyPatch) -> list[SimulatedBench]:
    """Those that the window has made."""
    made: list[SimulatedBench] = []

    def make(*arguments: object) -> SimulatedBench:
        made.append(SimulatedBench(*arguments))  # type: ignore[arg-type]
        return made[-1]

    monkeypatch.setattr("benchapp.host.order.SimulatedBench", make)
    return made


def _on(benches: list[SimulatedBench]) -> bool:
    return bool(benches) and benches[-1].source.output_on


def _text(table: QTableWidget, row: int, column: int) -> str:
    item = table.item(row, column)
    assert item is not None
    return item.text()


def test_findings_stand_in_a_table(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    controller = _chosen(window, "exchanged_leads")
    dialog = window.check()
    assert dialog is not None
    assert controller.checking
    window.measure.start()
    assert not controller.running
    assert window.check() is None  # one at a time
    qtbot.waitUntil(lambda: dialog.table.rowCount() > 0, timeout=30_000)
    assert "would not be valid: sense pair" in dialog.summary.text()
    rows = {_text(dialog.table, row, 1): row for row in range(dialog.table.rowCount())}
    assert _text(dialog.table, rows["sense pair"], 0) == "✗"
    assert "Exchange the two sense leads" in _text(dialog.table, rows["sense pair"], 4)
    assert _text(dialog.table, rows["settling"], 0) == "…"
    assert not controller.checking
    assert not _on(benches)
    dialog.close()


def test_off_ends_it_and_the_plate_shows_what_is(
    window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]
) -> None:
    controller = _chosen(window, "shunt")
    window.recipe.set_text("settle", "20 s")
    states: list[OutputState] = []
    controller.output.seen.connect(lambda seen: states.append(seen.state))
    dialog = window.check()
    assert dialog is not None
    qtbot.waitUntil(lambda: _on(benches), timeout=20_000)
    qtbot.waitUntil(lambda: OutputState.ON in states, timeout=5_000)
    window.output_off()
    qtbot.waitUntil(lambda: not controller.checking, timeout=5_000)
    assert not _on(benches)
    assert "stopped by the operator" in dialog.summary.text()
    dialog.close()


def test_closing_the_dialog_ends_it_too(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    controller = _chosen(window, "shunt")
    window.recipe.set_text("settle", "20 s")
    dialog = window.check()
    assert dialog is not None
    qtbot.waitUntil(lambda: _on(benches), timeout=20_000)
    dialog.reject()
    qtbot.waitUntil(lambda: not controller.checking, timeout=5_000)
    assert not _on(benches)


def test_closing_the_window_ends_it(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    _chosen(window, "shunt")
    window.recipe.set_text("settle", "20 s")
    assert window.check() is not None
    qtbot.waitUntil(lambda: _on(benches), timeout=20_000)
    window.close()
    assert not _on(benches)


def test_what_cannot_be_checked_is_told(window: MainWindow, benches: list[SimulatedBench]) -> None:
    _chosen(window, "shunt")
    window.recipe.set_text("current", "500 A")
    dialog = window.check()
    if dialog is not None:  # the house refuses it, whatever the recipe says
        assert "exceeds the house limit" in dialog.summary.text()
        dialog.close()
    assert not _on(benches)
