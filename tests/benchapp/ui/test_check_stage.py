"""The Check stage: what it shows, what holds Start, and that OFF ends it at any time."""

import pytest
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from benchapp.bench.output import OutputState
from benchapp.check.finding import Finding, State
from benchapp.ui.check.badges import Badge, badge_of
from benchapp.ui.check.drawing import _PLACES
from benchapp.ui.check.model import Checked
from benchapp.ui.models import scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow
from sim.bench import SimulatedBench


def _chosen(window: MainWindow, scenario: str) -> RunController:
    window.bench_stage.choose_scenario(scenario)
    window.recipe.take(scenario_texts(scenario))
    window.show_stage(StageName.CHECK)
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


def _badges(window: MainWindow) -> dict[str, Badge]:
    return {one.name: badge_of(one) for one in window.check_stage.rows.findings}


def _visible(widget: QWidget) -> bool:
    return widget.isVisible()


def test_a_failed_check_holds_the_run(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    controller = _chosen(window, "exchanged_leads")
    stage = window.check_stage
    assert stage.main.text() == "Check"
    stage.main_pressed()
    assert controller.checking
    assert not stage.main.isEnabled()
    window.measure.start()
    assert not controller.running
    assert not window.check()  # one at a time
    qtbot.waitUntil(lambda: bool(stage.rows.findings), timeout=30_000)
    badges = _badges(window)
    assert badges["sense pair"] is Badge.FAILED
    assert badges["settling"] is Badge.WAITING
    assert "sense pair" in stage.held.text()
    assert stage.main.text() == "Check again"
    assert not _on(benches)
    # The run is held where it would be started, too, until somebody has changed something.
    window.show_stage(StageName.MEASURE)
    assert window.measure.main.text() == "See the check"
    window.measure.start()
    assert not controller.running
    window.measure.main_pressed()
    assert window._pages.currentWidget() is stage
    window.recipe.set_text("serial", "4712")  # another part: its leads were not looked at
    assert window.measure.main.text() == "Start"
    assert stage.main.text() == "Check"


def test_a_good_check_leads_to_the_run(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    controller = _chosen(window, "shunt")
    stage = window.check_stage
    stage.main_pressed()
    qtbot.waitUntil(lambda: bool(stage.rows.findings), timeout=30_000)
    assert set(_badges(window).values()) <= {Badge.PASSED, Badge.NOT_TESTED}
    assert stage.main.text() == "Start"
    assert window._stages.check.good
    stage.main_pressed()
    assert controller.running
    window.output_off()
    qtbot.waitUntil(lambda: not controller.running, timeout=10_000)
    window.measure.prepare_next()
    assert not window._stages.check.good  # leads were moved


def test_a_doubt_is_passed_over_by_name_and_more_is_not(window: MainWindow) -> None:
    _chosen(window, "shunt")
    model, stage = window._stages.check, window.check_stage
    doubt = Finding("drift of the EMF", State.FAILS, "9 nV a second", code="mains-pickup")
    shut = Finding("signal", State.FAILS, "nothing", where="sense leads", remedy="Connect them", code="open-lead")
    model.begin()
    model.end(Checked((doubt,), "", None, 0.01, 5.0))
    assert model.doubts == ["drift of the EMF"]
    assert stage.main.text() == "Check again"
    assert _visible(stage.over)
    assert stage.over.text() == "Pass over: drift of the EMF"
    stage.over.click()
    assert model.good
    assert stage.main.text() == "Start"
    model.begin()
    model.end(Checked((doubt, shut), "", None, 0.01, 5.0))
    assert not _visible(stage.over)
    model.pass_over(["signal", "drift of the EMF"])
    assert model.holds == ["signal"]
    assert _visible(stage.more)  # an open lead, or too little current


def test_off_ends_it_and_the_plate_shows_what_is(
    window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]
) -> None:
    controller = _chosen(window, "shunt")
    window.recipe.set_text("settle", "20 s")
    states: list[OutputState] = []
    controller.output.seen.connect(lambda seen: states.append(seen.state))
    assert window.check()
    qtbot.waitUntil(lambda: _on(benches), timeout=20_000)
    qtbot.waitUntil(lambda: OutputState.ON in states, timeout=5_000)
    window.output_off()
    qtbot.waitUntil(lambda: not controller.checking, timeout=5_000)
    assert not _on(benches)
    assert "stopped by the operator" in window.check_stage.summary.text()
    assert not window._stages.check.good


def test_closing_the_window_ends_it(window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]) -> None:
    _chosen(window, "shunt")
    window.recipe.set_text("settle", "20 s")
    assert window.check()
    qtbot.waitUntil(lambda: _on(benches), timeout=20_000)
    window.close()
    assert not _on(benches)


def test_what_cannot_be_checked_is_told(window: MainWindow, benches: list[SimulatedBench]) -> None:
    _chosen(window, "shunt")
    window.recipe.set_text("current", "500 A")
    if window.check():  # the house refuses it, whatever the recipe says
        raise AssertionError("a check beyond the house limits")
    assert "exceeds the house limit" in window.check_stage.summary.text()
    assert not window._stages.check.under_way
    assert not _on(benches)


def test_each_test_has_its_place_on_the_drawing(
    window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]
) -> None:
    _chosen(window, "shunt")
    window.check_stage.main_pressed()
    qtbot.waitUntil(lambda: bool(window.check_stage.rows.findings), timeout=30_000)
    assert {one.name for one in window.check_stage.rows.findings} == set(_PLACES)


def test_start_over_a_run_under_way_shows_that_run(
    window: MainWindow, qtbot: QtBot, benches: list[SimulatedBench]
) -> None:
    controller = _chosen(window, "shunt")
    window.recipe.set_text("blocks", "100000")
    model = window._stages.check
    model.begin()
    model.end(Checked((), "", None, 0.01, 5.0))
    window.check_stage.main_pressed()
    qtbot.waitUntil(lambda: window.rail.plate.state is OutputState.ON, timeout=10_000)
    session = controller.session
    window.show_stage(StageName.CHECK)
    window.check_stage.main_pressed()
    assert controller.session is session
    assert window._pages.currentWidget() is window.measure
    assert window.measure.main.text() == "End here"
    assert window.measure._shows_run
    assert not window.check()
    assert "nothing else uses" in window.check_stage.held.text()
    window.output_off()
    qtbot.waitUntil(lambda: not controller.running, timeout=10_000)


def test_a_check_that_is_too_old_is_told_of(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchapp.ui.check.model.GOOD_FOR_S", 0.3)
    _chosen(window, "shunt")
    model = window._stages.check
    model.begin()
    model.end(Checked((), "", None, 0.01, 5.0))
    assert window.check_stage.main.text() == "Start"
    qtbot.waitUntil(lambda: window.check_stage.main.text() == "Check again", timeout=5_000)
