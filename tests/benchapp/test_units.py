"""A scale that only a dialect claims carries no current past the house limits, whichever unit the source counts in."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchapp.cli.main import main
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer

MILLI = (
    'kind = "source"\nextends = "scpi"\ncap.level = { set = ":SOUR:CURR {value}", get = ":SOUR:CURR?", scale = 1e3 }\n'
)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[SimulatedBench, list[str], list[float]]]:
    """A simulated bench, the command that measures on it, and every level that its source took, in amperes."""
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    (tmp_path / "limits.toml").write_text('current = "0.12 A"\n')
    (tmp_path / "milli.toml").write_text(MILLI)
    sim = SimulatedBench(load_scenario("soaking_insulation"), ScaledClock(20))
    taken = [0.0]
    process = sim.source.process

    def watched(message: str) -> str | None:
        reply = process(message)
        if sim.source.output_on:
            taken.append(abs(float(process(":SOUR:CURR?") or "nan")))
        return reply

    sim.source.process = watched  # type: ignore[method-assign]
    with BenchServer(sim) as server:
        command = ["measure", "--source", server.source, "--voltmeter", server.voltmeter, "--logbook"]
        command += [str(tmp_path / "l.sqlite"), "--source-dialect", str(tmp_path / "milli.toml"), "--blocks", "4"]
        yield sim, command, taken
    assert not sim.source.output_on


def test_without_a_nominal_value_it_asks_for_a_proof(
    bench: tuple[SimulatedBench, list[str], list[float]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*bench[1], "--current", "1 mA"]) == 4
    told = capsys.readouterr().err
    assert "benchapp instruments check" in told
    assert "must be proved" in told
    assert max(bench[2]) == 0.0


def test_a_trial_on_the_nominal_value_tells_before_the_current_goes_up(
    bench: tuple[SimulatedBench, list[str], list[float]], capsys: pytest.CaptureFixture[str]
) -> None:
    # The source counts in amperes: 1 mA would be 1 A, and its clamp would hold 20 V.
    assert main([*bench[1], "--current", "1 mA", "--nominal", "0.9 ohm"]) == 4
    assert "the scale in the source's dialect seems wrong" in capsys.readouterr().err
    assert 0 < max(bench[2]) <= 0.12 * 1.001


def test_check_energise_finds_the_wrong_unit_within_the_limits_and_remembers_a_right_one(
    bench: tuple[SimulatedBench, list[str], list[float]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sim, command, taken = bench
    source, voltmeter = command[2], command[4]
    check = ["instruments", "check", source, "--role", "source", "--voltmeter", voltmeter, "--json", "-"]
    check += ["--resistance", "0.9 ohm", "--dialect", str(tmp_path / "milli.toml"), "--energise", "100 mA"]
    assert main(check) == 3
    rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)["capabilities"]}
    assert rows["level"]["state"] == "fails"
    assert max(taken) <= 0.12 * 1.001
    # Where the source does count in milliamperes the same check proves it, once and for all.
    process = sim.source.process

    def in_milliamperes(message: str) -> str | None:
        if message.startswith(":SOUR:CURR ") and ";" not in message:
            return process(f":SOUR:CURR {float(message.split()[1]) / 1e3:.9E}")
        if message.startswith(":SOUR:CURR "):
            first, _, rest = message.partition(";")
            return process(f":SOUR:CURR {float(first.split()[1]) / 1e3:.9E};{rest}")
        if message == ":SOUR:CURR?":
            return f"{float(process(message) or 'nan') * 1e3:.9E}"
        return process(message)

    sim.source.process = in_milliamperes  # type: ignore[method-assign]
    assert main([*command, "--current", "100 mA"]) == 4
    capsys.readouterr()
    assert main(check) == 0
    assert main([*command, "--current", "100 mA"]) == 0
