"""Studies from the window: runs on the Measure stage, conclusion with picture, and what was found in the recipe."""

import pytest
from PySide6.QtWidgets import QMessageBox
from pytestqt.qtbot import QtBot

from benchapp.study.kinds import KINDS
from benchapp.ui.models import scenario_texts
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow


def test_a_study_runs_and_is_applied(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    window.bench_stage.choose_scenario("filmed_contact")
    window.recipe.take({**scenario_texts("filmed_contact"), "blocks": "", "duration": "12 s"})
    before = dict(window.recipe.texts)
    window.show_stage(StageName.STUDY)
    stage = window.study
    assert stage.main.text() == "Start this study"
    stage.kinds.choose("power")
    stage.main_pressed()
    assert window._conductor is not None
    assert window._conductor.running
    stage.main_pressed()
    assert "uses the bench" in stage.message.text()
    qtbot.waitUntil(lambda: stage.can_apply, timeout=120_000)
    assert window._pages.currentWidget() is stage  # comes back with what it found
    assert stage.list.count() == 2
    assert "rises" in stage.told.text()
    assert stage.plot.plot.isVisible()
    assert stage.main.text() == "Apply to the recipe"
    assert window.recipe.texts == before
    monkeypatch.setattr(QMessageBox, "question", lambda *arguments: QMessageBox.StandardButton.Ok)
    stage.main_pressed()
    assert window.recipe.texts["current"] != before["current"]
    assert window.recipe.faults == {}
    stage.new.click()
    assert stage.main.text() == "Start this study"


def test_off_breaks_it_off_and_the_recipe_comes_back(window: MainWindow, qtbot: QtBot) -> None:
    window.bench_stage.choose_scenario("shunt")
    window.recipe.take({**scenario_texts("shunt"), "blocks": "", "duration": "60 s"})
    before = dict(window.recipe.texts)
    window.show_stage(StageName.STUDY)
    window.study.kinds.choose("settling")
    window.study.main_pressed()
    conductor = window._conductor
    assert conductor is not None
    qtbot.waitUntil(lambda: window._controller.running, timeout=20_000)
    window.output_off()
    qtbot.waitUntil(lambda: not conductor.running, timeout=20_000)
    assert "broken off" in window.study.message.text()
    assert window.recipe.texts == before


def test_every_kind_asks_one_question(window: MainWindow) -> None:
    assert all(kind.question.endswith("?") and kind.question.count("?") == 1 for kind in KINDS.values())
