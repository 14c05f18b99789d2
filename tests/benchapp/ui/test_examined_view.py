"""What an examined run shows: its terms on one axis, and what stays untested."""

import pytest
from pytestqt.qtbot import QtBot

from benchapp.ui.measure.examined_view import rows_of
from benchapp.ui.models import scenario_texts
from benchapp.ui.window import MainWindow

_OTHER = {"blocks": "", "duration": "", "signs": "", "examine": "yes", "cycles": "9"}


def test_each_term_has_its_row(window: MainWindow, qtbot: QtBot) -> None:
    window.bench_stage.choose_scenario("warm_shunt")
    window.recipe.take({**scenario_texts("warm_shunt"), **_OTHER})
    window.measure.start()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=120_000)
    pages = window.measure.pages
    qtbot.waitUntil(lambda: bool(pages._examined.rows), timeout=10_000)
    assert pages.stack.currentWidget() is pages._examined
    rows = {row.name: row for row in pages._examined.rows}
    assert rows["warming by the current"].found
    assert rows["warming by the current"].value_ohm > rows["as stated"].value_ohm
    assert rows["R at zero power"].value_ohm < rows["as stated"].value_ohm
    assert not rows["settling"].found
    assert "seen" in rows["settling"].said
    assert "not tested" in pages._examined.accessibleDescription()
    session = window._controller.session
    assert session is not None
    assert session.snapshot is not None
    stated = session.snapshot.statement
    assert stated is not None
    assert rows_of(stated)[0].value_ohm == pytest.approx(stated.resistance_ohm)
    # A plain run has no such page.
    window.measure.show_idle()
    window.recipe.take(scenario_texts("shunt"))
    window.bench_stage.choose_scenario("shunt")
    window.measure.start()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=60_000)
    assert pages.stack.currentIndex() == 0
