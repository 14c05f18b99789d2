"""A check that is stopped, killed or loses an instrument leaves the output off."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_signal_in_the_middle(number: signal.Signals, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(bench) as server:
        command = [
            sys.executable, "-m", "benchapp.cli.main", "check", "--source", server.source, "--voltmeter",
            server.voltmeter, "--current", "1 A", "--nominal", "250 uohm", "--settle", "0.3 s",
        ]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            _wait(lambda: bench.source.output_on, 20.0)
            time.sleep(0.6)
            assert bench.source.output_on
            process.send_signal(number)
            process.wait(timeout=10)
            _wait(lambda: not bench.source.output_on, 2.0)
        assert bench.circuit.fixture.largest_A <= 0.01001


def _wait(condition: object, seconds: float) -> None:
    for _ in range(round(seconds / 0.02)):
        if condition():  # type: ignore[operator]
            return
        time.sleep(0.02)
    raise AssertionError("it did not come to pass")
