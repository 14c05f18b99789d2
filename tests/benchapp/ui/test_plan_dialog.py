"""Planning in the window, and the tick of a run that examines itself."""

from pathlib import Path

import pytest
from PySide6.QtWidgets import QDialogButtonBox
from pytestqt.qtbot import QtBot

from benchapp.result.card import load_card
from benchapp.ui.models import RecipeModel, scenario_texts
from benchapp.ui.specimen.plan_dialog import PlanDialog
from benchapp.ui.window import MainWindow
from tests.benchapp.plan.test_optimum import _CARD


def test_a_plan_is_taken_over(qtbot: QtBot, tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    path.write_text(_CARD, "utf-8")
    dialog = PlanDialog(tmp_path / "log.sqlite", load_card(path), "250 uohm")
    qtbot.addWidget(dialog)
    dialog.fields["target"].setText("0.05 %")
    dialog.start()
    qtbot.waitUntil(lambda: dialog.take.isEnabled(), timeout=30_000)
    assert "what limits" in dialog.told.toPlainText()
    dialog.take.click()
    assert dialog.recipe is not None
    model = RecipeModel()
    model.take({"name": "Shunt", "high": "260 uohm", "nominal": "1 ohm", "current": "1 mA", "blocks": "9"})
    model.take_planned(dialog.recipe)
    assert model.faults == {}
    assert model.recipe is not None
    assert (model.recipe.name, model.recipe.high_ohm) == ("Shunt", 260e-6)
    assert model.recipe.current_A == dialog.recipe.current_A
    assert model.recipe.stop == dialog.recipe.stop


@pytest.mark.parametrize(
    ("target", "run", "told"), [("0 %", "", "--target"), ("0.1 %", "", "noise"), ("0.1 %", "x", "number of a run")]
)
def test_what_cannot_be_planned_is_told(qtbot: QtBot, tmp_path: Path, target: str, run: str, told: str) -> None:
    dialog = PlanDialog(tmp_path / "log.sqlite", None, "250 uohm")
    qtbot.addWidget(dialog)
    dialog.fields["target"].setText(target)
    dialog.fields["from-run"].setText(run)
    dialog.start()
    qtbot.waitUntil(lambda: dialog.search.isEnabled(), timeout=10_000)
    assert told in dialog.fault.text()
    assert not dialog.take.isEnabled()
    assert dialog.findChild(QDialogButtonBox) is not None


def test_the_tick_takes_sequence_and_stop_rule_away_and_back(window: MainWindow) -> None:
    window.recipe.take(scenario_texts("shunt"))
    window.specimen.examined.setChecked(True)
    assert window.recipe.faults == {}
    assert window.recipe.recipe is not None
    assert window.recipe.recipe.examine
    assert "signs" not in window.recipe.texts
    window.specimen.examined.setChecked(False)
    assert window.recipe.recipe is not None
    assert not window.recipe.recipe.examine
    window.recipe.set_text("examine", "yes")
    assert window.specimen.examined.isChecked()
