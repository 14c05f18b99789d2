"""A run in a process of its own: from its order to its end, and when somebody dies."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from benchapp.events import EndReason
from benchapp.host.launch import Launcher, StartRefused, WarmHost
from benchapp.host.order import BenchChoice, RunOrder
from benchapp.logbook.query import list_runs
from benchapp.recipe import StopRule
from sim.scenario import load_scenario
from tests.benchapp.host.test_remote import until
from tests.benchapp.simulated import recipe_of


@pytest.fixture(autouse=True)
def _own_runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_RUNTIME", str(tmp_path / "r"))


def order(folder: Path, **changes: object) -> RunOrder:
    return RunOrder(recipe_of(load_scenario("shunt"), **changes), BenchChoice("shunt"), folder / "log.sqlite", 20.0)


def test_a_run_from_its_order_to_its_end_and_the_process_leaves(tmp_path: Path) -> None:
    host = WarmHost()
    far = host.order(order(tmp_path, stop=StopRule(10)))
    assert far.owner
    assert far.wait(20)
    assert far.end is not None
    assert far.end.reason is EndReason.RULE
    assert far.history.readings.count == list_runs(tmp_path / "log.sqlite")[0].readings
    far.leave()
    host._process.wait(10)


def test_what_hinders_the_start_is_told(tmp_path: Path) -> None:
    wrong = RunOrder(recipe_of(load_scenario("shunt")), BenchChoice("", "x", "y"), tmp_path / "log.sqlite")
    with pytest.raises(StartRefused, match="no VISA resource string"):
        WarmHost().order(wrong)


def test_a_process_without_an_order_leaves_with_its_window() -> None:
    host = WarmHost()
    host.close()
    assert host._process.wait(20) == 0


def test_a_killed_process_is_told_and_its_output_is_not_known(tmp_path: Path) -> None:
    launcher = Launcher()
    far = launcher.begin(order(tmp_path, stop=StopRule(None)))
    until(lambda: far.poll() and far.history.readings.count > 5)
    os.kill(far.process, signal.SIGKILL)
    until(lambda: bool(far.poll() or far.ended) and far.ended)
    assert far.end is not None
    assert not far.end.output_off
    assert "is gone" in far.end.text
    assert far.output.state == "not known"


def test_a_process_that_stands_still_is_told_and_goes_on(tmp_path: Path) -> None:
    far = Launcher().begin(order(tmp_path, stop=StopRule(None)))
    until(lambda: far.poll() and far.history.readings.count > 5)
    os.kill(far.process, signal.SIGSTOP)
    until(lambda: far.poll() or far.output.text == "no news from the run for a second")
    os.kill(far.process, signal.SIGCONT)
    until(lambda: far.poll() and far.output.text == "")
    far.control.stop("enough")
    assert far.wait(10)
    far.leave()


def test_watch_looks_on_in_a_terminal(tmp_path: Path) -> None:
    far = Launcher().begin(order(tmp_path, stop=StopRule(60)))
    watch = [sys.executable, "-m", "benchapp.cli.main", "watch", str(far.run_id)]
    seen = subprocess.run(watch, capture_output=True, text=True, timeout=60, check=False)
    assert seen.returncode == 0, seen.stderr
    assert "Looking on at run 1 of Shunt S-17" in seen.stderr
    assert "95 % interval" in seen.stdout
    far.leave()
    none = subprocess.run([*watch[:-1], "77"], capture_output=True, text=True, timeout=60, check=False)
    assert none.returncode == 2
    assert "is not under way" in none.stderr


def test_the_next_window_finds_what_the_last_one_left(tmp_path: Path) -> None:
    first = Launcher().begin(order(tmp_path, stop=StopRule(None), unattended=True))
    until(lambda: first.poll() and first.history.readings.count > 20)
    first._connection.close()  # as when its process is killed
    time.sleep(0.2)
    back = Launcher().found()
    assert back is not None
    assert back.owner
    until(lambda: back.poll() and back.history.readings.count > 30)
    assert back.history.readings.since(0)[0, 0] == first.history.readings.since(0)[0, 0]
    second = Launcher().found()
    assert second is not None
    assert not second.owner
    back.control.stop("enough")
    for one in (back, second):  # both hear how it ended
        assert one.wait(10)
        assert one.end is not None
        assert one.end.output_off
        assert one.end.text == "enough"
    second.leave()
    back.leave()
