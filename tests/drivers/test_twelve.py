"""Twelve odd instruments, each by its dialect file: checked with the output on, measured with, and off in the end."""

from __future__ import annotations

import json
import os
import signal
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest

from benchapp.cli.main import main
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from tests.drivers.twelve import SOURCES, VOLTMETERS, Oddity, OddServer, scpi
from tests.faults.victim import Victim, wait_until

_SHUNT = load_scenario("shunt")
_STANDARD = {
    "source": Oddity(scpi, 'kind = "source"\nextends = "scpi"\n'),
    "voltmeter": Oddity(scpi, 'kind = "voltmeter"\nextends = "scpi"\n'),
}


# Where they differ from 250 uohm, 1 A, 2 V: a unit that only a dialect claims is proved with a current and a compliance
# that are harmless in either unit.
_VALUES = {"fixed": (250e-6, "1 A", "12 V"), "nameless": (1.0, "10 mA", "20 mV")}


class OddBench:
    """A bench of which one instrument is odd."""

    def __init__(self, stack: ExitStack, folder: Path, source: str, voltmeter: str) -> None:
        self.resistance_ohm, self.current, self.compliance = _VALUES.get(source, (250e-6, "1 A", "2 V"))
        specimen = replace(_SHUNT.specimen, resistance_ohm=self.resistance_ohm, thermal_resistance_K_per_W=0.0)
        scenario = replace(_SHUNT, specimen=specimen, source=replace(_SHUNT.source, latency_s=0.002))
        self.sim = SimulatedBench(scenario, ScaledClock(4))
        self.options: list[str] = []
        self.addresses: dict[str, str] = {}
        self.files: dict[str, str] = {}
        for role, known, name in (("source", SOURCES, source), ("voltmeter", VOLTMETERS, voltmeter)):
            oddity = known.get(name, _STANDARD[role])
            self.addresses[role] = stack.enter_context(OddServer(oddity, self.sim, role)).address
            path = folder / f"{name}_{role}.toml"
            path.write_text(f"{oddity.dialect}")
            self.files[role] = str(path)
            self.options += [f"--{role}-dialect", str(path)]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("BENCHAPP_CONFIG", "BENCHAPP_DATA"):
        monkeypatch.setenv(name, str(tmp_path))
    return tmp_path


_ALL = [*((name, "standard") for name in SOURCES), *(("standard", name) for name in VOLTMETERS)]


@pytest.mark.parametrize(("source", "voltmeter"), _ALL)
def test_a_run_finds_the_truth_and_leaves_the_output_off(
    folder: Path, source: str, voltmeter: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with ExitStack() as stack:
        bench = OddBench(stack, folder, source, voltmeter)
        if source != "standard":
            check = ["instruments", "check", bench.addresses["source"], "--dialect", bench.files["source"]]
            check += ["--energise", bench.current, "--resistance", f"{bench.resistance_ohm} ohm"]
            check += ["--voltmeter", bench.addresses["voltmeter"], "--compliance", bench.compliance, "--json", "-"]
            assert main(check) == 0
            rows = {row["name"]: row["state"] for row in json.loads(capsys.readouterr().out)["capabilities"]}
            assert (rows["output"], rows["level"]) == ("works", "works"), rows
            assert not bench.sim.source.output_on
        measure = ["measure", "--source", bench.addresses["source"], "--voltmeter", bench.addresses["voltmeter"]]
        measure += [*bench.options, "--current", bench.current, "--nominal", f"{bench.resistance_ohm} ohm"]
        measure += ["--settle", "30 ms", "--blocks", "12", "--compliance", bench.compliance, "--json", "-"]
        assert main([*measure, "--logbook", str(folder / "log.sqlite")]) in (0, 4)
        found = json.loads(capsys.readouterr().out)
        # Twice U: one run of twelve blocks says nothing by luck, and a wrong unit is a factor of a thousand.
        assert abs(found["resistance_ohm"] - bench.sim.circuit.resistance_ohm()) < 2 * found["expanded_uncertainty_ohm"]
        assert found["expanded_uncertainty_ohm"] < 4e-3 * bench.resistance_ohm
        assert not bench.sim.source.output_on
        untested = {item["code"]: item["text"] for item in found["not_tested"]}
        if voltmeter == "shouter":
            assert untested["not-read-back"].startswith("Voltmeter aperture, voltmeter range: sent, and")
        elif source == "fixed":
            assert untested["not-read-back"].startswith("Source compliance: sent")
        else:
            assert "not-read-back" not in untested


@pytest.mark.skipif(sys.platform != "linux", reason="watches processes through /proc")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
@pytest.mark.parametrize("source", SOURCES)
def test_a_killed_program_leaves_the_output_off(folder: Path, source: str, how: signal.Signals) -> None:
    with ExitStack() as stack:
        bench = OddBench(stack, folder, source, "standard")
        options = [*bench.options, "--current", bench.current, "--compliance", bench.compliance]
        options += ["--nominal", f"{bench.resistance_ohm} ohm"]
        with Victim(bench.addresses["source"], bench.addresses["voltmeter"], folder, *options) as victim:
            wait_until(lambda: victim.streamed() >= 3)
            assert bench.sim.source.output_on
            os.kill(victim.process.pid, how)
            assert wait_until(lambda: not bench.sim.source.output_on) < 2.0
