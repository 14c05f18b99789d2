"""One run over each transport, to three parsers: ours, one from the package index, and one of a second hand.

VXI-11, HiSLIP and a serial line; address classes through pyvisa-sim, USB and GPIB in test_standin_visa.
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
from sim.scpi.core import ScpiDevice
from tests.drivers.odd_instruments import OddCircuit, OddSource, OddVoltmeter
from tests.drivers.test_scpi_facts import SOURCE, VOLTMETER, ForeignDevice
from tests.drivers.transports import HislipServer, SerialLine, Vxi11Server

Server = Vxi11Server | HislipServer | SerialLine
KINDS: list[Callable[[Callable[[str], str | None]], Server]] = [Vxi11Server, HislipServer, SerialLine]


Process = Callable[[str], str | None]


def ours() -> tuple[Process, Process, Callable[[], bool], float]:
    """Source, voltmeter, whether the output is on, and the resistance."""
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    return bench.source.process, bench.voltmeter.process, lambda: bench.source.output_on, 250e-6


def of_a_package() -> tuple[Process, Process, Callable[[], bool], float]:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    assert isinstance(bench.source, ScpiDevice)
    assert isinstance(bench.voltmeter, ScpiDevice)
    source, voltmeter = ForeignDevice(bench.source, SOURCE), ForeignDevice(bench.voltmeter, VOLTMETER)
    return source.process, voltmeter.process, lambda: bench.source.output_on, 250e-6


def of_a_second_hand() -> tuple[Process, Process, Callable[[], bool], float]:
    circuit = OddCircuit()
    source, voltmeter = OddSource(circuit), OddVoltmeter(circuit)
    return source.process, voltmeter.process, lambda: source.output, circuit.resistance_ohm


@pytest.mark.parametrize("parser", [ours, of_a_package, of_a_second_hand])
@pytest.mark.parametrize("kind", KINDS)
def test_a_run_over_the_transport(
    kind: Callable[[Process], Server],
    parser: Callable[[], tuple[Process, Process, Callable[[], bool], float]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    source_says, voltmeter_says, is_on, resistance_ohm = parser()
    source, voltmeter = kind(source_says), kind(voltmeter_says)
    try:
        command = ["measure", "--source", source.address, "--voltmeter", voltmeter.address, "--current", "2 A"]
        assert main([*command, "--range", "3 mV", "--blocks", "6", "--settle", "2 ms", "--json", "-"]) == 0
    finally:
        source.close()
        voltmeter.close()
    assert json.loads(capsys.readouterr().out)["resistance_ohm"] == pytest.approx(resistance_ohm, rel=1e-2)
    assert not is_on()


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
