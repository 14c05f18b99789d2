"""Another statement by the window: faults are shown in words, both statements stay."""

from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from benchapp.cli.main import main
from benchapp.result.json_object import statement_object, to_line
from benchapp.run.recorded import open_run
from benchapp.ui.logbook.reanalyse_dialog import ReanalyseDialog


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    path = tmp_path / "log.sqlite"
    assert main(["measure", "--scenario", "shunt", "--speed", "40", "--blocks", "12", "--logbook", str(path)]) == 0
    return path


def test_both_statements_stay(qapp: QApplication, logbook: Path) -> None:
    run = open_run(logbook, 1)
    dialog = ReanalyseDialog(logbook, run)
    dialog.coverage.setText("2")
    dialog.state_it()
    assert "Write a number from 0.5 to 0.9999" in dialog.fault.text()
    dialog.coverage.setText("0.99")
    dialog.start.setText("0.1 s")
    dialog.state_it()
    assert "Write start, end and the reason" in dialog.fault.text()
    assert open_run(logbook, 1).statements == run.statements
    dialog.end.setText("0.3 s")
    dialog.reason.setText("a hand on the terminal")
    dialog.drift.setCurrentIndex(2)
    dialog.state_it()
    after = open_run(logbook, 1).statements
    assert dialog.statements
    assert after[:1] == run.statements
    assert to_line(statement_object(after[1], {})) == to_line(statement_object(dialog.statements[0], {}))
    assert after[1].coverage_probability == 0.99
    assert after[1].conditions.emf_order == 2
    assert after[1].left_out[0].reason == "a hand on the terminal"
    assert after[1].estimate.readings < run.statements[0].estimate.readings
