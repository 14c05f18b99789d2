"""USB and GPIB through the machine's VISA library: a stand-in with a library's sessions, END, time-outs, clear, status.

What real hardware must still show is printed by `benchapp instruments check --protocol`.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchapp.cli.main import main
from drivers.dialect import load_dialect
from drivers.errors import LinkRefused, LinkTimeout
from drivers.registry import make_link, make_source
from drivers.wires import VisaWire, list_addresses
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until

_COMPILER = shutil.which("cc") or shutil.which("gcc")
pytestmark = pytest.mark.skipif(
    _COMPILER is None or sys.platform != "linux", reason="no C compiler: the stand-in VISA library cannot be built"
)
SOURCE, VOLTMETER = "GPIB0::5::INSTR", "USB0::0x1234::0x5678::A7::0::INSTR"


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("visa") / "libvisa_standin.so"
    source = Path(__file__).with_name("standin_visa.c")
    assert _COMPILER is not None
    subprocess.run([_COMPILER, "-shared", "-fPIC", "-O1", "-Wall", "-o", str(path), str(source)], check=True)
    return str(path)


@pytest.fixture
def bench(library: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[SimulatedBench]:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(20))
    with BenchServer(sim) as server:
        ports = [address.split("::")[2] for address in (server.source, server.voltmeter)]
        monkeypatch.setenv("STANDIN_VISA", f"{SOURCE}={ports[0]},{VOLTMETER}={ports[1]}")
        monkeypatch.setenv("BENCHAPP_VISA", library)
        yield sim


def test_sessions_time_outs_clear_and_status_byte(bench: SimulatedBench) -> None:
    link = make_link(SOURCE, load_dialect("scpi", "source"))
    assert link.identify() == "Generic,Current Source,0,1.0"
    with pytest.raises(LinkTimeout, match=r"no answer within 0\.3 s"):
        link.query("NONSENSE?", 0.3)
    assert link.query(":SYST:ERR?").startswith("-113")  # in step again
    wire = link._wire
    assert isinstance(wire, VisaWire)
    assert wire.status_byte() == 0
    link.write("*IDN?")
    wait_until(lambda: wire.status_byte() == 0x10)
    link.drop()
    assert wire.status_byte() == 0
    assert link.query(":OUTP?") == "0"
    assert link.fileno() is None  # nothing that a guardian could inherit: it opens the address itself
    link.close()


def test_a_long_answer_comes_in_pieces(bench: SimulatedBench) -> None:
    bench.source.process(":SOUR:LIST:CURR " + ",".join(["0.123456789"] * 100))
    with_wire = make_link(SOURCE, load_dialect("scpi", "source"))
    assert with_wire.query(":SOUR:LIST:CURR?").count(",") == 99
    with_wire.write(":SOUR:LIST:CURR?")
    assert with_wire._wire.receive_bytes(11, 1.0) == b"1.234567890"
    with_wire.close()


def test_nobody_at_the_address(bench: SimulatedBench) -> None:
    with pytest.raises(LinkRefused, match="cannot be opened"):
        make_source("GPIB0::9::INSTR", load_dialect("scpi", "source"))
    assert {SOURCE, VOLTMETER} <= set(list_addresses()[0])


def test_a_run_over_gpib_and_usb(bench: SimulatedBench, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--source", SOURCE, "--voltmeter", VOLTMETER, "--current", "5 A", "--range", "10 mV", "--blocks", "12"]
    assert main(["measure", *options, "--logbook", str(tmp_path / "log.sqlite"), "--json", "-"]) == 0
    assert abs(json.loads(capsys.readouterr().out)["resistance_ohm"] / bench.circuit.resistance_ohm() - 1) < 1e-3
    assert not bench.source.output_on


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP])
def test_the_guardian_switches_off_through_the_same_library(
    bench: SimulatedBench, tmp_path: Path, how: signal.Signals
) -> None:
    with Victim(SOURCE, VOLTMETER, tmp_path) as victim:
        wait_until(lambda: victim.streamed() >= 10)
        assert bench.source.output_on
        os.kill(victim.process.pid, how)
        assert wait_until(lambda: not bench.source.output_on) < 2.0
