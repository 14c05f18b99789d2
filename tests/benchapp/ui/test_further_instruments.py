"""Benches with a second voltmeter, a thermometer or a polarity switch, from the window."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from benchapp.host.order import BenchChoice, bench_for
from benchapp.logbook.query import list_runs, load_run
from benchapp.recipe import Recipe
from benchapp.ui.logbook.run_list import row_of
from benchapp.ui.models import scenario_texts
from benchapp.ui.run_controller import RunController
from benchapp.ui.window import MainWindow


@pytest.mark.parametrize(
    ("scenario", "stop", "near_ohm"),
    [
        ("gain_error", {"blocks": "12"}, 1.00041e-3),
        ("warming_cable", {"duration": "20 s"}, 1.13186e-3),
        ("one_way_source", {"blocks": "6"}, 11.83e-6),
    ],
)
def test_a_run_with_a_further_instrument(
    window: MainWindow, qtbot: QtBot, tmp_path: Path, scenario: str, stop: dict[str, str], near_ohm: float
) -> None:
    window.bench_stage.choose_scenario(scenario)
    window.recipe.take({**scenario_texts(scenario), "blocks": "", "duration": "", **stop})
    window.measure.start()
    controller = window._controller
    qtbot.waitUntil(lambda: controller.session is not None and not controller.running, timeout=30_000)
    summary = list_runs(tmp_path / "log.sqlite")[0]
    assert (summary.status, summary.output_off) == ("completed", True)
    assert summary.stated is not None
    assert summary.stated["resistance_ohm"] == pytest.approx(near_ohm, rel=2e-3)
    record = load_run(tmp_path / "log.sqlite", 1)
    assert ("current voltmeter" in record.instruments) is (scenario == "gain_error")
    assert bool(record.temperatures) is (scenario == "warming_cable")
    plots = window.measure.plots
    assert plots.temperature.isVisibleTo(plots) is (scenario == "warming_cable")
    if record.temperatures:
        shown = plots.temperature._series.stretch(0.0, 1e6, 100)[1]
        assert shown[-1] == pytest.approx(record.temperatures[-1].celsius, abs=0.1)


def _is_over(controller: RunController, before: object) -> bool:
    return controller.session is not before and not controller.running


def test_parts_on_a_scanner_stand_on_a_page_of_their_own(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    window.bench_stage.choose_scenario("lugs_on_fixture")
    window.recipe.take({**scenario_texts("lugs_on_fixture"), "rounds": "2"})
    controller, pages = window._controller, window.measure.pages
    expected = ["pass"] * 3 + ["fail"] + ["pass"] * 2
    for _ in range(4):  # at this speed a busy computer may leave a part in doubt
        before = controller.session
        window.measure.show_idle()
        window.measure.start()
        qtbot.waitUntil(partial(_is_over, controller, before), timeout=60_000)
        qtbot.waitUntil(lambda: len(pages._parts.rows) == 6, timeout=5_000)
        qtbot.wait(300)
        if [word for _, _, word in pages._parts.rows] == expected:
            break
    assert [word for _, _, word in pages._parts.rows] == expected
    session = controller.session
    assert session is not None
    assert session.statement is not None
    assert session.statement.part == "lug 4"  # the worst of them stands for the run
    summary = list_runs(tmp_path / "log.sqlite")[-1]
    row = row_of(summary)
    assert (row.verdict, row.lot) == ("fail", "6 parts: 5 pass, 1 fail")
    window.bench_stage.choose_scenario("shunt")
    window.recipe.take({**scenario_texts("shunt"), "blocks": "6"})
    window.measure.show_idle()
    window.measure.start()
    qtbot.waitUntil(lambda: controller.session is not session and not controller.running, timeout=30_000)
    assert pages._choice.button(3).isHidden()


def test_parts_without_their_scanner_are_told_and_nothing_starts(window: MainWindow, qtbot: QtBot) -> None:
    told: list[str] = []
    window._controller.failed.connect(told.append)
    window.recipe.set_text("blocks", "")
    window.recipe.set_text("channels", "a = 1, b = 2")
    window.measure.start()
    assert not window._controller.running
    assert "no scanner is named" in told[0]


def test_a_resistor_without_its_voltmeter_is_told_and_nothing_starts(window: MainWindow, qtbot: QtBot) -> None:
    told: list[str] = []
    window._controller.failed.connect(told.append)
    window.recipe.set_text("current_shunt", "10 mohm")
    window.measure.start()
    assert not window._controller.running
    assert "second voltmeter" in told[0]


def test_the_address_of_the_second_voltmeter_is_kept_with_the_bench(window: MainWindow) -> None:
    window.bench.choose(BenchChoice("", "A", "B"))
    window.bench_stage._lines["current_voltmeter"].setText("TCPIP::127.0.0.1::9::SOCKET")
    window.bench_stage._lines["current_voltmeter"].textEdited.emit("TCPIP::127.0.0.1::9::SOCKET")
    assert window.bench.choice.current_voltmeter == "TCPIP::127.0.0.1::9::SOCKET"
    assert window.bench.choice.current_voltmeter_dialect == "scpi"


def test_a_compliance_that_is_set_by_hand_is_confirmed_on_the_bench_stage(window: MainWindow, tmp_path: Path) -> None:
    odd = tmp_path / "odd.toml"
    odd.write_text(
        'id = "odd"\nkind = "source"\n[sequence]\nsafe = ["OFF"]\n[cap.level]\nset = "I {value}"\nget = "I?"\n'
        '[cap.output]\non_set = "ON"\noff_set = "OFF"\nget = "OUT?"\nkind = "bool"\n[cap.compliance]\nby_hand = true\n'
    )
    stage, model = window.bench_stage, window.bench
    window.bench_stage.choose_scenario("")
    assert stage._by_hand.isHidden()
    model.change(source="TCPIP::127.0.0.1::9::SOCKET", voltmeter="TCPIP::127.0.0.1::8::SOCKET", source_dialect=str(odd))
    assert not stage._by_hand.isHidden()
    stage._by_hand.setText("1 V")
    stage._by_hand.textEdited.emit("1 V")
    assert model.choice.compliance_by_hand == "1 V"
    told: list[str] = []
    window._controller.failed.connect(told.append)
    with bench_for(model.choice, recipe_for(window)) as (plan, _):
        assert plan.compliance_by_hand_V == 1.0
    model.change(source_dialect="scpi")
    assert model.choice.compliance_by_hand == ""  # of another source nobody has confirmed anything
    model.change(source_dialect=str(odd), compliance_by_hand="much")
    window.measure.start()
    assert "compliance, set by hand" in told[0]


def recipe_for(window: MainWindow) -> Recipe:
    recipe = window.recipe.recipe
    assert recipe is not None
    return recipe
