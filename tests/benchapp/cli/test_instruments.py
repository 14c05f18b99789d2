"""`benchapp instruments` on the simulated bench, over sockets."""

import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchapp.bench.protocol import protocol_steps
from benchapp.cli.main import main
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer


@pytest.fixture
def bench() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(50))
    with BenchServer(sim) as server:
        yield sim, server


def test_probe_check_and_measure(
    bench: tuple[SimulatedBench, BenchServer],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sim, server = bench
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    files = {}
    for role, address in (("source", server.source), ("voltmeter", server.voltmeter)):
        files[role] = str(tmp_path / f"{role}.toml")
        assert main(["instruments", "probe", address, "--role", role, "--out", files[role]]) == 0
        assert "proved" in capsys.readouterr().out
        assert main(["instruments", "check", address, "--dialect", files[role], "--json", "-"]) == 0
        states = {row["name"]: row["state"] for row in json.loads(capsys.readouterr().out)["capabilities"]}
        assert "fails" not in states.values()
    assert not sim.source.output_on
    measured = ["measure", "--source", server.source, "--voltmeter", server.voltmeter, "--current", "5 A"]
    measured += ["--source-dialect", files["source"], "--voltmeter-dialect", files["voltmeter"], "--blocks", "6"]
    assert main([*measured, "--range", "10 mV", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["resistance_ohm"] == pytest.approx(250e-6, rel=1e-3)


def test_identify_list_and_talk(
    bench: tuple[SimulatedBench, BenchServer], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, server = bench
    assert main(["instruments", "identify", server.source]) == 0
    assert "Current Source" in capsys.readouterr().out
    assert main(["instruments", "list"]) == 0
    assert "dialects of a source: " in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", io.StringIO("*IDN?\nOUTP?\n\n"))
    assert main(["instruments", "talk", server.source]) == 0
    assert capsys.readouterr().out.splitlines()[1] == "0"


def test_a_wrong_dialect_fails_the_check(
    bench: tuple[SimulatedBench, BenchServer], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        'kind = "voltmeter"\nextends = "scpi"\ncap.nplc = { set = ":SENS:NPLC {value}", get = ":SENS:NPLC?" }\n'
    )
    assert main(["instruments", "check", bench[1].voltmeter, "--dialect", str(path)]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert any(row.startswith("nplc") and "missing" in row for row in rows)


def test_what_only_the_real_instrument_can_show_is_printed(
    bench: tuple[SimulatedBench, BenchServer], capsys: pytest.CaptureFixture[str]
) -> None:
    _, server = bench
    assert main(["instruments", "check", server.source, "--protocol"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Protocol for Generic,Current Source,0,1.0 as source at TCPIP::")
    assert "kill -9" in told
    assert "The cable" not in told
    assert main(["instruments", "check", server.voltmeter, "--role", "voltmeter", "--protocol"]) == 0
    assert "overload" in capsys.readouterr().out
    steps = [step.what for step in protocol_steps("GPIB0::5::INSTR", "source", "mine.toml")]
    assert "The cable" in steps


def test_nobody_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["instruments", "probe", "TCPIP::127.0.0.1::9::SOCKET", "--role", "source"]) == 3
    assert "cannot be reached" in capsys.readouterr().err


def test_a_check_that_measures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    sim = SimulatedBench(load_scenario("soaking_insulation"), ScaledClock(10))
    wrong = tmp_path / "wrong.toml"
    level = '{ set = ":SOUR:CURR {value}", get = ":SOUR:CURR?", scale = 0.001 }'
    wrong.write_text(f'kind = "source"\nextends = "scpi"\ncap.level = {level}\n')
    with BenchServer(sim) as server:
        options = ["--energise", "10 mA", "--resistance", "0.9 ohm", "--voltmeter", server.voltmeter, "--json", "-"]
        command = ["instruments", "check", server.source, "--role", "source"]
        assert main([*command, *options]) == 0
        rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)["capabilities"]}
        assert {name: rows[name]["state"] for name in ("output", "level", "compliance")} == {
            "output": "works",
            "level": "works",
            "compliance": "works",
        }
        assert "clamp" in rows["compliance"]["seen"]
        assert not sim.source.output_on
        # A dialect whose scale is wrong by a thousand reads back as asked; only the resistor tells.
        assert main([*command, "--dialect", str(wrong), *options]) == 3
        rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)["capabilities"]}
        assert rows["level"]["state"] == "fails"
        assert "milliamperes" in rows["level"]["seen"]
        assert not sim.source.output_on
        assert main([*command, "--energise", "50 A", "--resistance", "0.9 ohm", "--voltmeter", server.voltmeter]) == 4
        assert main([*command, "--energise", "10 mA"]) == 2


def test_talk_sends_nothing_beyond_the_limits_and_leaves_no_output_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    (tmp_path / "limits.toml").write_text('current = "0.12 A"\n')
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    said: list[str] = []
    process = sim.source.process

    def heard(message: str) -> str | None:
        said.append(message)
        # An instrument with a word of its own for ON, which nobody can know.
        return process(":OUTP ON" if message == "GLOW" else message)

    sim.source.process = heard  # type: ignore[method-assign]
    with BenchServer(sim) as server:
        refused = [":SOUR:CURR 0.9", "CURR MAX", ":OUTP ON", "OUTPUT:STATE 1", "*RCL 1", ":SOUR:VOLT:LIM 99"]
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join([*refused, ":SOUR:CURR 0.1", ":SOUR:CURR?", ""])))
        assert main(["instruments", "talk", server.source]) == 0
        told = capsys.readouterr()
        assert float(told.out) == 0.1
        assert told.err.count("not sent: it switches an output on") == 2
        assert told.err.count("exceeds the house limit") == 3
        assert not set(refused) & set(said)
        monkeypatch.setattr("sys.stdin", io.StringIO("GLOW\n*IDN?\n"))
        assert main(["instruments", "talk", server.source]) == 3
        assert "'GLOW' switched the output on: it was switched off" in capsys.readouterr().err
        assert not sim.source.output_on


def test_talk_speaks_a_dialect(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    sim = SimulatedBench(load_scenario("foreign_pair"), ScaledClock(10))
    with BenchServer(sim) as server:
        monkeypatch.setattr("sys.stdin", io.StringIO("DRIVE\nI 5\nI?\n"))
        assert main(["instruments", "talk", server.source, "--dialect", "quill", "--role", "source"]) == 0
    told = capsys.readouterr()
    assert "I = +5.000000 mA" in told.out
    assert "it switches an output on" in told.err
