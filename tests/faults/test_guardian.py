"""After every death of the application the output is off within two seconds."""

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchapp.logbook.query import list_runs
from drivers.guardian import GuardianLost, ProcessGuard, SafePlan
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")


@pytest.fixture
def sim() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(bench) as server:
        yield bench, server


@pytest.mark.parametrize("how", ["kill", "abort", "process group", "stop"])
def test_the_output_is_off_within_two_seconds_and_nothing_shown_is_lost(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, how: str
) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        assert bench.source.output_on
        pid = victim.process.pid
        if how == "process group":
            os.killpg(os.getpgid(pid), signal.SIGKILL)
        else:
            os.kill(pid, {"kill": signal.SIGKILL, "abort": signal.SIGABRT, "stop": signal.SIGSTOP}[how])
        assert wait_until(lambda: not bench.source.output_on) < 2.0
        if how == "stop":
            os.kill(pid, signal.SIGCONT)
            assert victim.process.wait(10) == 3
            assert victim.process.stderr is not None
            assert b"guardian" in victim.process.stderr.read()
        else:
            victim.process.wait(10)
            assert list_runs(victim.logbook)[0].status == "interrupted"
        assert list_runs(victim.logbook)[0].readings >= victim.streamed()
        assert not bench.source.output_on


def test_without_its_guardian_the_application_switches_off(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        (guardian,) = victim.children()
        os.kill(guardian, signal.SIGKILL)
        assert wait_until(lambda: not bench.source.output_on) < 2.0
        assert victim.process.wait(10) == 3


def test_a_normal_end_leaves_no_guardian_behind(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path) -> None:
    bench, server = sim
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 5)
        (guardian,) = victim.children()
        victim.process.terminate()
        # 4 where so few unsettled readings are not valid: how it ended is what counts here.
        assert victim.process.wait(10) in (0, 4)
        assert not Path(f"/proc/{guardian}").exists()
        assert not bench.source.output_on


def test_no_guardian_no_output(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("drivers.guardian._PROGRAM", tmp_path / "missing.py")
    plan = SafePlan("here", "127.0.0.1", 1, None, (":OUTP OFF",), "*IDN?", "me", ":OUTP?", ("0",), "\n", "\n")
    with pytest.raises(GuardianLost, match="Nothing was switched on"):
        ProcessGuard().arm(plan)


def test_a_silent_guardian_and_a_late_beat_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = SafePlan("here", "127.0.0.1", 1, None, (":OUTP OFF",), "*IDN?", "me", ":OUTP?", ("0",), "\n", "\n")
    guard = ProcessGuard()
    guard.arm(plan)
    guard._last_beat_s -= 0.9
    guard._next_beat_s = 0.0
    with pytest.raises(GuardianLost, match="stood still"):
        guard.beat()
    guard.disarm()
