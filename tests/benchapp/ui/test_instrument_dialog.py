"""Check and probe from the window, over sockets."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QEventLoop, QTimer
from pytestqt.qtbot import QtBot

from benchapp.host.order import BenchChoice
from benchapp.ui.bench.instrument_dialog import InstrumentDialog
from drivers.dialect import load_dialect
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer


@pytest.fixture
def choice() -> Iterator[BenchChoice]:
    with BenchServer(SimulatedBench(load_scenario("shunt"), ScaledClock(50))) as server:
        yield BenchChoice("", server.source, server.voltmeter)


def wait_for(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    for _ in range(round(seconds / 0.02)):
        if condition():
            return
        loop = QEventLoop()
        QTimer.singleShot(20, loop.quit)
        loop.exec()
    raise AssertionError("it did not come to pass")


def cells(dialog: InstrumentDialog, column: int) -> list[str]:
    items = [dialog.table.item(row, column) for row in range(dialog.table.rowCount())]
    return [item.text() for item in items if item is not None]


def test_check_then_probe_then_save(qtbot: QtBot, choice: BenchChoice, tmp_path: Path) -> None:
    dialog = InstrumentDialog(choice)
    qtbot.addWidget(dialog)
    dialog.role.setCurrentText("voltmeter")
    dialog.start_check()
    wait_for(lambda: dialog.check.isEnabled())
    assert "read" in cells(dialog, 0)
    assert "✓ works" in cells(dialog, 1)
    assert "> *IDN?" in dialog.log.toPlainText()
    steps: list[str] = []
    dialog.going_on.connect(lambda doing, done, of: steps.append(f"{doing} {done} {of}"))
    dialog.start_probe()
    wait_for(lambda: dialog.save.isEnabled())
    assert steps[0].startswith("line end and identity 0 ")
    assert len(steps) == int(steps[0].split()[-1])
    assert "✓ proved" in cells(dialog, 1)
    saved: list[tuple[str, str]] = []
    dialog.dialect_saved.connect(lambda role, path: saved.append((role, path)))
    dialog.save_to(tmp_path / "mine.toml")
    assert saved == [("voltmeter", str(tmp_path / "mine.toml"))]
    assert load_dialect(saved[0][1], "voltmeter").capabilities["read"]


@pytest.mark.parametrize("role", ["source", "voltmeter"])
def test_the_whole_dialect_is_checked(qtbot: QtBot, choice: BenchChoice, role: str) -> None:
    dialog = InstrumentDialog(choice)
    qtbot.addWidget(dialog)
    dialog.role.setCurrentText(role)
    dialog.start_check()
    wait_for(lambda: dialog.check.isEnabled())
    assert set(cells(dialog, 0)) == set(load_dialect("scpi", role).capabilities)
    assert not [state for state in cells(dialog, 1) if "fails" in state]


def test_nobody_there_is_said(qtbot: QtBot) -> None:
    dialog = InstrumentDialog(BenchChoice("", "TCPIP::127.0.0.1::9::SOCKET", ""))
    qtbot.addWidget(dialog)
    dialog.start_probe()
    wait_for(lambda: dialog.check.isEnabled())
    assert "cannot be reached" in dialog.summary.text()
