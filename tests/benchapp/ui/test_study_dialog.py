"""Studies from the window: runs on the Measure stage, conclusion with picture, and what was found in the recipe."""

import pytest
from PySide6.QtWidgets import QMessageBox
from pytestqt.qtbot import QtBot

from benchapp.ui.models import scenario_texts
from benchapp.ui.window import MainWindow


def test_a_study_runs_and_is_applied(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    window.bench_stage.choose_scenario("filmed_contact")
    window.recipe.take({**scenario_texts("filmed_contact"), "blocks": "", "duration": "12 s"})
    before = dict(window.recipe.texts)
    dialog = window.studies()
    dialog.kind.setCurrentText("power")
    dialog.start.click()
    assert window._conductor is not None
    assert window._conductor.running
    dialog.start.click()
    assert "uses the bench" in dialog.message.text()
    qtbot.waitUntil(lambda: dialog.list.count() == 1 and dialog.apply.isEnabled(), timeout=120_000)
    assert "rises" in dialog.told.toPlainText()
    assert dialog.plot.plot.isVisible()
    assert window.recipe.texts == before
    monkeypatch.setattr(QMessageBox, "question", lambda *arguments: QMessageBox.StandardButton.Ok)
    dialog.apply.click()
    assert window.recipe.texts["current"] != before["current"]
    assert window.recipe.faults == {}
    dialog.close()


def test_off_breaks_it_off_and_the_recipe_comes_back(window: MainWindow, qtbot: QtBot) -> None:
    window.bench_stage.choose_scenario("shunt")
    window.recipe.take({**scenario_texts("shunt"), "blocks": "", "duration": "60 s"})
    before = dict(window.recipe.texts)
    dialog = window.studies()
    dialog.kind.setCurrentText("settling")
    dialog.start.click()
    conductor = window._conductor
    assert conductor is not None
    qtbot.waitUntil(lambda: window._controller.running, timeout=20_000)
    window.output_off()
    qtbot.waitUntil(lambda: not conductor.running, timeout=20_000)
    assert "broken off" in dialog.message.text()
    assert window.recipe.texts == before
    dialog.close()
