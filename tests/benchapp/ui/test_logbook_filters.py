"""What the list of runs shows of each run, and what the filters leave of them."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtWidgets import QFileDialog
from pytestqt.qtbot import QtBot

from benchapp.ui.logbook.run_list import local_time
from benchapp.ui.logbook.sparklines import thinned
from benchapp.ui.models import scenario_texts
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow


def _run(window: MainWindow, qtbot: QtBot, scenario: str, **texts: str) -> None:
    window.measure.show_idle()
    window.bench_stage.choose_scenario(scenario)
    window.recipe.take({**scenario_texts(scenario), **texts})
    window.measure.start()
    qtbot.waitUntil(lambda: not window._controller.running, timeout=60_000)


def test_filters_and_search_leave_what_they_say(window: MainWindow, qtbot: QtBot) -> None:
    _run(window, qtbot, "shunt", low="", high="300 uohm", blocks="60")
    _run(window, qtbot, "shunt", low="", high="200 uohm", blocks="60")
    _run(window, qtbot, "exchanged_leads")
    window.show_stage(StageName.LOGBOOK)
    stage = window.logbook
    assert [row.summary.run_id for row in stage.model.rows] == [3, 2, 1]
    stage.filters.verdict.setCurrentText("not valid")
    assert [row.summary.run_id for row in stage.model.rows] == [3]
    assert stage._count.text() == "1 of 3 runs"
    assert stage.filters.all.isVisible()
    stage.filters.flag.setCurrentText(stage.model.rows[0].flags[0])
    assert [row.summary.run_id for row in stage.model.rows] == [3]
    stage.filters.all.click()
    assert len(stage.model.rows) == 3
    assert not stage.filters.all.isVisible()
    name = scenario_texts("shunt")["name"]
    stage.filters.specimen.setCurrentText(name)
    assert [row.summary.run_id for row in stage.model.rows] == [2, 1]
    stage.filters.since.setCurrentText("today")
    stage.search.setText("fail")
    assert [row.summary.run_id for row in stage.model.rows] == [2]
    stage.refresh()  # a filter holds when the list is read again
    assert [row.summary.run_id for row in stage.model.rows] == [2]
    assert stage.filters.specimen.currentText() == name
    late = replace(stage.model.rows[0].summary, started=(datetime.now().astimezone() - timedelta(days=9)).isoformat())
    for text, found in (("today", False), ("last 7 days", False), ("last 30 days", True), ("any time", True)):
        stage.filters.since.setCurrentText(text)
        assert stage.filters.search.lets(late) is found


def test_blocks_stand_in_the_list_once_they_are_read(window: MainWindow, qtbot: QtBot) -> None:
    _run(window, qtbot, "shunt", blocks="60")
    window.show_stage(StageName.LOGBOOK)
    sparklines = window.logbook._sparklines
    window.logbook.table.grab()
    qtbot.waitUntil(lambda: len(sparklines.points(1, 100, ended=True)) > 0, timeout=10_000)
    points = sparklines.points(1, 100, ended=True)
    assert len(points) == 46
    assert points.min() == 0.0
    assert points.max() == 1.0


def test_thinned_keeps_the_course() -> None:
    rise = thinned(np.linspace(1.0, 2.0, 1000))
    assert np.all(np.diff(rise) > 0)
    assert thinned(np.array([1.0, 1.0, 1.0])) == pytest.approx(0.5)
    assert len(thinned(np.array([np.nan, 3.0]))) == 0


def test_the_last_two_days_are_words() -> None:
    now = datetime.now().astimezone()
    assert local_time(now.isoformat(), near=True).startswith("today ")
    assert local_time((now - timedelta(days=1)).isoformat(), near=True).startswith("yesterday ")
    assert local_time("2026-01-02T03:04:05+00:00", near=True).startswith("2026-01-0")
    assert local_time("no date") == "no date"


def test_a_report_is_written_from_the_list(
    window: MainWindow, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _run(window, qtbot, "shunt", blocks="30")
    window.show_stage(StageName.LOGBOOK)
    for form in ("pdf", "html"):
        out = tmp_path / f"run.{form}"
        monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *arguments, out=out: (str(out), ""))
        window.logbook._ask("pdf")()
        assert out.stat().st_size > 5000
        assert "report of run 1" in window.logbook._message.text()
