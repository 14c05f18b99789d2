"""OFF outside a run, on a source that no run has opened; and what stays where everybody was killed."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from benchapp.analysis.student import coverage_factor
from benchapp.bench.armed import Armed, left_behind, mark, noted
from benchapp.cli.main import main
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[SimulatedBench, BenchServer]]:
    for name in ("CONFIG", "DATA", "RUNTIME"):
        monkeypatch.setenv(f"BENCHAPP_{name}", str(tmp_path))
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(sim) as server:
        yield sim, server


def test_off_acts_on_a_source_that_no_run_has_opened(
    bench: tuple[SimulatedBench, BenchServer], capsys: pytest.CaptureFixture[str]
) -> None:
    sim, server = bench
    for message in (":SOUR:VOLT:LIM 1", ":SOUR:CURR 0.5", ":OUTP ON"):
        sim.source.process(message)
    assert sim.source.output_on
    assert main(["off", "--source", server.source]) == 0
    assert "the output reads off" in capsys.readouterr().out
    assert not sim.source.output_on


def test_off_says_what_it_cannot_prove(
    bench: tuple[SimulatedBench, BenchServer], capsys: pytest.CaptureFixture[str]
) -> None:
    sim, server = bench
    process = sim.source.process
    sim.source.process = lambda message: None if ":OUTP OFF" in message else process(message)  # type: ignore[method-assign]
    process(":OUTP ON")
    assert main(["off", "--source", server.source]) == 3
    assert "STILL READS ON: switch the source off by hand" in capsys.readouterr().err
    assert main(["off", "--source", "TCPIP::127.0.0.1::9::SOCKET"]) == 3
    assert "COULD NOT BE READ (cannot be reached" in capsys.readouterr().err
    assert main(["off", "--source", "there"]) == 2
    assert main(["off"]) == 2
    assert "no source is noted as switched on" in capsys.readouterr().err


@pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")
def test_a_second_program_is_refused_by_name_and_off_acts_meanwhile(
    bench: tuple[SimulatedBench, BenchServer], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sim, server = bench
    coverage_factor(1)  # loads scipy: while that goes on later, the instruments of this process would answer nobody
    with Victim(server.source, server.voltmeter, tmp_path, "--name", "Bar 7") as victim:
        wait_until(lambda: victim.streamed() >= 20)
        instruments = ["--source", server.source, "--voltmeter", server.voltmeter]
        second = ["measure", *instruments, "--current", "1 A", "--logbook", str(tmp_path / "2.sqlite")]
        assert main(second) == 3
        assert f"in use by run 1 of Bar 7 (process {victim.process.pid}" in capsys.readouterr().err
        for command in (
            ["probe", server.source, "--role", "source"],
            ["check", server.voltmeter],
            ["talk", server.source],
        ):
            assert main(["instruments", *command]) == 3
            assert "in use by run 1 of Bar 7" in capsys.readouterr().err
        assert sim.source.output_on
        assert [armed.address for armed in noted()] == [server.source]
        assert left_behind() == []
        assert main(["off"]) == 0
        assert "in use by run 1 of Bar 7" in capsys.readouterr().out
        assert not sim.source.output_on
        assert victim.process.wait(10) == 3
    assert noted() == []


@pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")
def test_where_program_and_guardian_are_killed_the_next_start_reads_and_offers_off(
    bench: tuple[SimulatedBench, BenchServer], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sim, server = bench
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        guardians = victim.children()
        for pid in (*guardians, victim.process.pid):
            os.kill(pid, signal.SIGKILL)
        victim.process.wait(10)
        wait_until(lambda: bool(left_behind()))
    assert sim.source.output_on
    assert main(["measure", "--scenario", "shunt", "--speed", "50", "--blocks", "6", "--logbook",
                 str(tmp_path / "2.sqlite")]) in (0, 4)  # fmt: skip
    told = capsys.readouterr().err
    assert f"Its output reads: ON. Switch it off: benchapp off --source {server.source}" in told
    assert main(["off"]) == 0
    assert not sim.source.output_on
    assert noted() == []


@pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")
def test_a_start_at_once_after_a_crash_waits_for_the_guardian(
    bench: tuple[SimulatedBench, BenchServer], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sim, server = bench
    with Victim(server.source, server.voltmeter, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 20)
        victim.process.kill()
        began = time.monotonic()
        options = ["--source", server.source, "--voltmeter", server.voltmeter, "--current", "1 A", "--blocks", "8"]
        assert main(["measure", *options, "--logbook", str(tmp_path / "2.sqlite"), "--settle", "5 ms"]) in (0, 4)
        assert time.monotonic() - began > 1.0
    assert "mains" not in capsys.readouterr().err
    assert not sim.source.output_on


def test_who_is_killed_while_noting_leaves_the_note_of_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run notes its source anew when its link was opened anew; a half-written note would say nothing."""
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    armed = Armed("TCPIP::127.0.0.1::5025::SOCKET", "scpi", "source", "run 1", 0.0)
    mark(armed)

    def killed(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("benchapp.bench.armed.os.fsync", killed)
    with pytest.raises(KeyboardInterrupt):
        mark(replace(armed, holder="run 2"))
    assert noted() == [armed]
