"""One run over each transport: VXI-11, HiSLIP, a serial line, and address classes through pyvisa-sim.

USB and GPIB go through the machine's VISA library and are not tested here: no such instrument stands on this machine.
"""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from benchapp.cli.main import main
from drivers.dialect import load_dialect
from drivers.errors import InstrumentError, LinkTimeout
from drivers.registry import make_link
from drivers.wires import visa_library
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from tests.drivers.transports import HislipServer, SerialLine, Vxi11Server

Server = Vxi11Server | HislipServer | SerialLine
KINDS: list[Callable[[Callable[[str], str | None]], Server]] = [Vxi11Server, HislipServer, SerialLine]


@pytest.mark.parametrize("kind", KINDS)
def test_a_run_over_the_transport(
    kind: Callable[[Callable[[str], str | None]], Server],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    source, voltmeter = kind(bench.source.process), kind(bench.voltmeter.process)
    try:
        command = ["measure", "--source", source.address, "--voltmeter", voltmeter.address, "--current", "5 A"]
        assert main([*command, "--range", "10 mV", "--blocks", "6", "--settle", "2 ms", "--json", "-"]) == 0
    finally:
        source.close()
        voltmeter.close()
    assert json.loads(capsys.readouterr().out)["resistance_ohm"] == pytest.approx(250e-6, rel=1e-2)
    assert not bench.source.output_on


@pytest.mark.parametrize("kind", KINDS)
def test_no_answer_is_a_time_out_and_a_late_one_is_not_taken_for_the_next(
    kind: Callable[[Callable[[str], str | None]], Server],
) -> None:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    server = kind(bench.source.process)
    try:
        link = make_link(server.address, load_dialect("scpi", "source"))
        link.identify()
        with pytest.raises(LinkTimeout):
            link.query(":NO:SUCH:THING?", 0.2)
        assert link.query("*IDN?") == "Generic,Current Source,0,1.0"
        link.close()
    finally:
        server.close()


def test_address_classes_through_a_simulated_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = tmp_path / "bench.yaml"
    eom = "".join(f"      {kind}:\n        q: '\\n'\n        r: '\\n'\n" for kind in ("USB INSTR", "GPIB INSTR"))
    library.write_text(
        "spec: '1.1'\ndevices:\n  meter:\n    eom:\n" + eom + "    dialogues:\n"
        "      - q: '*IDN?'\n        r: 'Generic,Meter,0,1'\n"
        "resources:\n  USB::0x1111::0x2222::1::INSTR:\n    device: meter\n  GPIB0::8::INSTR:\n    device: meter\n"
    )
    monkeypatch.setenv("BENCHAPP_VISA", f"{library}@sim")
    for address in ("USB0::0x1111::0x2222::1::0::INSTR", "GPIB0::8::INSTR"):
        link = make_link(address, load_dialect("scpi", "voltmeter"))
        assert link.identify() == "Generic,Meter,0,1"
        link.close()


def test_lan_and_serial_need_no_library_of_the_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("BENCHAPP_VISA", raising=False)
    assert visa_library("TCPIP::192.168.0.5::inst0::INSTR") == "@py"
    assert visa_library("ASRL/dev/ttyUSB0::INSTR") == "@py"


def test_nobody_at_a_visa_address_is_said() -> None:
    with pytest.raises(InstrumentError, match="cannot be opened"):
        make_link("ASRL/dev/no-such-line::INSTR", load_dialect("scpi", "source"))
