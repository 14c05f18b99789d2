"""The Specimen stage: every field of a recipe, what is folded, and the plan beside them."""

import math

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from benchapp.recipe import RECIPE_KEYS, build_recipe
from benchapp.recipe_values import Entry
from benchapp.ui.models import scenario_texts
from benchapp.ui.specimen.fields import FIELDS, RARE, unusual
from benchapp.ui.widgets.choice_edit import ChoiceEdit
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow


def test_every_key_of_a_recipe_has_a_field(window: MainWindow) -> None:
    assert set(RECIPE_KEYS) - set(FIELDS) == {"examine"}  # a tick of its own
    assert set(window.specimen.form.fields) == set(FIELDS)


def test_the_words_to_choose_from_are_those_that_a_recipe_takes() -> None:
    beside = {"unattended": {"duration": "9 s"}, "third_level": {"examine": "yes"}, "limits": {"compliance": "20 mV"}}
    for field in FIELDS.values():
        for word in field.choices:
            if word and not (field.key == "endless" and word == "no"):
                texts = {"current": "1 mA", field.key: word, **beside.get(field.key, {})}
                build_recipe({key: Entry(text, key) for key, text in texts.items()})


def test_what_is_folded_is_counted_and_what_differs_is_named(window: MainWindow) -> None:
    window.recipe.take(scenario_texts("busbar_joint") | {"range": ""})
    form = window.specimen.form
    count = sum(len(group.fields) for group in RARE)
    assert form.more.text() == f"{count} more, all at their usual values"
    window.recipe.set_text("line_frequency", "60 Hz")
    assert form.more.text().endswith("not as usual: Mains 60 Hz")
    assert unusual({"temperature_lag": "10 s"}) == ["Lag 10 s"]  # what stands there as an example is no usual value
    assert unusual({"stepping": "host", "confidence": "0.95", "third_level": "no"}) == []
    window.show_stage(StageName.SPECIMEN)
    window._details()
    assert form.fields["line_frequency"].isVisible()
    window._details()
    assert not form.fields["line_frequency"].isVisible()
    window.recipe.set_text("line_frequency", "0 Hz")  # a fault is never folded away
    assert form.fields["line_frequency"].isVisible()


def test_a_choice_is_typed_by_choosing(window: MainWindow) -> None:
    rule = window.specimen.field("rule")
    assert isinstance(rule, ChoiceEdit)
    window.recipe.set_text("rule", "simple")
    assert rule.currentText() == "simple"
    window.recipe.set_text("rule", "by feeling")
    assert rule.property("faulty")
    rule.setCurrentIndex(0)
    rule.activated.emit(0)
    assert window.recipe.texts["rule"] == ""
    assert window.recipe.faults == {}


def test_the_plan_follows_and_its_point_ends_the_run(window: MainWindow, qtbot: QtBot) -> None:
    texts = {**scenario_texts("shunt"), "blocks": "80", "low": "", "high": ""}
    window.bench_stage.choose_scenario("shunt")
    window.recipe.take(texts)
    window.show_stage(StageName.SPECIMEN)
    panel = window.specimen.plan
    qtbot.waitUntil(lambda: "noise" in panel.picture.foreseen.why, timeout=10_000)
    window.measure.start()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=60_000)
    window.show_stage(StageName.SPECIMEN)
    qtbot.waitUntil(lambda: bool(panel.picture.foreseen.curves), timeout=10_000)
    assert panel.picture.foreseen.noise_from == "run 1"
    before = panel.picture.foreseen.time_s
    area = panel.picture._area
    there = QPointF(area.left() + 0.5 * area.width(), area.center().y()).toPoint()
    QTest.mouseClick(panel.picture, Qt.MouseButton.LeftButton, pos=there)
    assert window.recipe.recipe is not None
    moved = window.recipe.recipe.stop.duration_s
    assert moved is not None
    assert moved > before
    assert window.recipe.texts.get("blocks", "") == ""
    qtbot.waitUntil(
        lambda: panel.planner.idle and panel.picture.foreseen.time_s == pytest.approx(moved), timeout=10_000
    )
    QTest.keyClick(panel.picture, Qt.Key.Key_Right)
    assert window.recipe.recipe.stop.duration_s == pytest.approx(moved * 1.15, rel=0.01)


def test_a_target_is_reached_by_other_means(window: MainWindow, qtbot: QtBot) -> None:
    window.bench_stage.choose_scenario("shunt")
    window.recipe.take({**scenario_texts("shunt"), "blocks": "80"})
    window.measure.start()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=60_000)
    window.recipe.take({**scenario_texts("shunt"), "blocks": "", "until": "0.02 %"})
    window.show_stage(StageName.SPECIMEN)
    panel = window.specimen.plan
    qtbot.waitUntil(lambda: bool(panel.picture.foreseen.others), timeout=20_000)
    assert math.isfinite(panel.picture.foreseen.target_ohm)
    panel.buttons[0].click()
    assert window.recipe.texts["until"] == "0.02 %"
    assert window.recipe.texts["nominal"] == scenario_texts("shunt")["nominal"]
    assert window.recipe.faults == {}
    field = window.specimen.field("current")
    assert field.property("planned")
    window.recipe.set_text("current", "1 A")
    assert not field.property("planned")
