"""The command line as a person or a program uses it."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from benchapp.cli.main import main
from benchapp.logbook.query import list_runs
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.drivers.odd_instruments import OddBench


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))


def measure(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    status = main(["measure", *arguments, "--json", "-"])
    out = capsys.readouterr().out
    return status, json.loads(out) if out else {}


def test_a_scenario_to_its_end_and_the_record_gives_the_same(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    status, result = measure(capsys, "--scenario", "shunt", "--speed", "40", "--blocks", "12", "--signs", "-+")
    assert status == 0
    assert (result["blocks"], result["verdict"]) == (12, "pass")
    assert result["readings"] >= 36  # a stall of this machine may cost a block
    assert main(["logbook", "list"]) == 0
    assert capsys.readouterr().out.split()[0] == str(result["run_id"])
    assert main(["logbook", "show", str(result["run_id"])]) == 0
    assert "Shunt S-17: R = 250.0" in capsys.readouterr().out
    csv = str(tmp_path / "run.csv")
    assert main(["logbook", "export", str(result["run_id"]), "--csv", csv]) == 0
    assert main(["analyse", csv, "--json", "-"]) == 0
    again = json.loads(capsys.readouterr().out)
    # A CSV file does not tell the limits.
    apart = {"file", "run_id", "verdict", "decision"}
    assert set(again) - {"file"} == set(result) - {"run_id"}
    assert {k: again[k] for k in again.keys() - apart} == {k: result[k] for k in result.keys() - apart}
    assert main(["logbook", "export", str(result["run_id"]), "--json", "-"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert {key: whole[key] for key in result} == result
    assert len(whole["record"]["voltage_V"]) == result["readings"]


def test_a_run_that_examines_itself(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    options = ("--scenario", "cable_drum", "--speed", "20", "--examine", "--cycles", "5")
    status, result = measure(capsys, *options)
    assert status == 0
    assert result["readings"] == 500
    assert result["estimator"] == "examined"
    effects = {effect["name"]: effect for effect in result["examined"]["effects"]}
    assert effects["settling"]["found"]
    assert effects["settling"]["tau_s"] == pytest.approx(0.012, rel=0.2)
    run_id = str(result["run_id"])
    assert main(["logbook", "show", run_id]) == 0
    assert "settling: found" in capsys.readouterr().out
    csv = str(tmp_path / "run.csv")
    assert main(["logbook", "export", run_id, "--csv", csv]) == 0
    assert main(["analyse", csv, "--json", "-"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["examined"] == result["examined"]
    assert again["resistance_ohm"] == result["resistance_ohm"]
    # Rows that somebody took away are no examined run.
    lines = Path(csv).read_text("utf-8").splitlines(keepends=True)
    Path(csv).write_text("".join(lines[:60] + lines[90:]), "utf-8")
    assert main(["analyse", csv]) == 2
    assert "not those of an examined run" in capsys.readouterr().err
    assert main(["analyse", csv, "--estimator", "blocks"]) in (0, 4)


def test_what_does_not_fit_an_examined_run_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    scenario = ("measure", "--scenario", "shunt")
    assert main([*scenario, "--examine", "--blocks", "5"]) == 2
    assert "Write cycles or a duration" in capsys.readouterr().err
    assert main([*scenario, "--cycles", "5"]) == 2
    assert "examine = true" in capsys.readouterr().err
    assert main([*scenario, "--estimator", "examined"]) == 2
    assert "Write one of sliding" in capsys.readouterr().err


def test_addresses_recipe_file_and_options(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.toml"
    recipe.write_text('current = "1 A"\nrange = "10 mV"\nblocks = 100000\nhigh = "200 uohm"\nnplc = 0.5\n')
    with BenchServer(SimulatedBench(load_scenario("shunt"), ScaledClock(40))) as server:
        status, result = measure(
            capsys, str(recipe), "--source", server.source, "--voltmeter", server.voltmeter, "--speed", "40",
            "--duration", "20 s", "--current", "2 A", "--logbook", str(tmp_path / "mine.sqlite"),
        )  # fmt: skip
    assert (status, result["verdict"]) == (0, "fail")
    assert list_runs(tmp_path / "mine.sqlite")[0].readings == result["readings"]


def test_the_odd_pair_is_measured(capsys: pytest.CaptureFixture[str]) -> None:
    with OddBench() as odd:
        status, result = measure(
            capsys, "--source", odd.source_address, "--voltmeter", odd.voltmeter_address, "--current", "1 A",
            "--range", "2 mV", "--nplc", "0.1", "--settle", "0", "--blocks", "40",
        )  # fmt: skip
        assert not odd.source.output
    assert status == 0
    assert result["resistance_ohm"] == pytest.approx(4.7e-4, abs=4 * result["standard_uncertainty_ohm"])


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        ([], 2, "current: missing"),
        (["--current", "1 A"], 2, "--source: missing"),
        (["--scenario", "nonsense"], 2, "there is no bench 'nonsense'"),
        (["--scenario", "shunt", "--current", "0.1"], 2, 'Write "0.1 A"'),
        (["--scenario", "shunt", "--source", "TCPIP::127.0.0.1::1::SOCKET"], 2, "stands beside an address"),
        (["--scenario", "shunt", "--source-dialect", "nonsense"], 2, "no source dialect 'nonsense'"),
        (["--source", "here", "--voltmeter", "there", "--current", "1 A"], 2, "'here' is no VISA resource string"),
        (["--scenario", "shunt", "--json", "/nonexistent/x"], 2, "--json: cannot be written"),
        (["--scenario", "shunt", "--stream", "/nonexistent/x"], 2, "--stream: cannot be written"),
        (["--scenario", "shunt", "--logbook", "/proc/none/log"], 2, "/proc/none/log"),
        (["none.toml", "--scenario", "shunt"], 2, "none.toml: cannot be read"),
        (["--scenario", "shunt", "--current", "12 A"], 4, "exceeds the house limit"),
    ],
)
def test_bad_input_and_limits(
    capsys: pytest.CaptureFixture[str], arguments: list[str], status: int, message: str
) -> None:
    assert main(["measure", *arguments]) == status
    assert message in capsys.readouterr().err


def test_safety_stops_and_instrument_trouble_leave_readings_and_json(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    status, result = measure(capsys, "--scenario", "shunt", "--speed", "40", "--compliance", "50 mV")
    assert (status, result) == (4, {})
    status, result = measure(capsys, "--scenario", "shunt", "--speed", "40", "--range", "1 mV")
    assert (status, result) == (4, {})
    assert list_runs(tmp_path / "data" / "logbook.sqlite")[1].readings == 1


def test_the_stream_holds_every_reading(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    stream = tmp_path / "stream.jsonl"
    transcript = tmp_path / "transcript"
    status, result = measure(
        capsys,
        "--scenario",
        "shunt",
        "--speed",
        "40",
        "--blocks",
        "5",
        "--stream",
        str(stream),
        "--transcript",
        str(transcript),
    )
    lines = [json.loads(line) for line in stream.read_text().splitlines()]
    assert status == 0
    assert [line["index"] for line in lines] == list(range(result["readings"]))
    held = 2 * 8  # before the run, at each sign
    assert transcript.read_text().count("> :READ?") == held + result["readings"]
    assert set(lines[0]) == {"index", "time_s", "current_A", "voltage_V"}


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_in_the_middle_switches_off_and_gives_a_result(number: signal.Signals, tmp_path: Path) -> None:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(bench) as server:
        command = [
            sys.executable, "-m", "benchapp.cli.main", "measure", "--source", server.source, "--voltmeter",
            server.voltmeter, "--current", "1 A", "--nplc", "0.1", "--settle", "10 ms", "--blocks", "100000",
            "--json", "-", "--stream", str(tmp_path / "stream"),
        ]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
            wait_for_lines(tmp_path / "stream", 20)
            assert bench.source.output_on
            process.send_signal(number)
            out, err = process.communicate(timeout=10)
        assert not bench.source.output_on
    assert process.returncode == 0, err
    assert json.loads(out)["readings"] >= 20


def test_kill_9_loses_nothing_that_was_streamed(tmp_path: Path) -> None:
    with BenchServer(SimulatedBench(load_scenario("shunt"), ScaledClock())) as server:
        command = [
            sys.executable, "-m", "benchapp.cli.main", "measure", "--source", server.source, "--voltmeter",
            server.voltmeter, "--current", "1 A", "--nplc", "0.1", "--settle", "0", "--blocks", "100000",
            "--stream", str(tmp_path / "stream"),
        ]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            wait_for_lines(tmp_path / "stream", 30)
            process.kill()
    streamed = len((tmp_path / "stream").read_text().splitlines())
    run = list_runs(Path(os.environ["BENCHAPP_DATA"]) / "logbook.sqlite")[0]
    assert run.status == "interrupted"
    assert run.readings >= streamed


def wait_for_lines(path: Path, count: int) -> None:
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if path.exists() and path.read_text().count("\n") >= count:
            return
        time.sleep(0.02)
    raise AssertionError(f"{path} did not reach {count} lines")
