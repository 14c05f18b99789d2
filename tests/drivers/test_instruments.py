"""Both drivers against the strict simulated pair (in process and over sockets) and against the odd pair."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from drivers.dialect import load_dialect
from drivers.errors import LinkTimeout, ReportedError
from drivers.registry import make_source, make_voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from sim.bench import SimulatedBench
from sim.clock import Clock, ScaledClock, VirtualClock
from sim.loopback import Loopback
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.drivers.odd_instruments import OddBench


@dataclass
class Pair:
    source: ScpiSource
    voltmeter: ScpiVoltmeter
    resistance_ohm: float
    clock: Clock
    sent: list[tuple[str, str, str]]


@pytest.fixture(params=["loopback", "socket", "odd"])
def pair(request: pytest.FixtureRequest) -> Iterator[Pair]:
    dialects = load_dialect("scpi", "source"), load_dialect("scpi", "voltmeter")
    sent: list[tuple[str, str, str]] = []

    def record(*line: str) -> None:
        sent.append(line)  # type: ignore[arg-type]  # three texts

    if request.param == "loopback":
        bench = SimulatedBench(load_scenario("shunt"), VirtualClock())
        source = make_source("source", dialects[0], wire=lambda: Loopback(bench.source), transcript=record)
        voltmeter = make_voltmeter("voltmeter", dialects[1], wire=lambda: Loopback(bench.voltmeter), transcript=record)
        yield Pair(source, voltmeter, 250.037e-6, bench.clock, sent)
        return
    if request.param == "socket":
        server = BenchServer(SimulatedBench(load_scenario("shunt"), ScaledClock(20)))
        with server:
            source = make_source(server.source, dialects[0], transcript=record)
            voltmeter = make_voltmeter(server.voltmeter, dialects[1], transcript=record)
            yield Pair(source, voltmeter, 250.037e-6, ScaledClock(20), sent)
            source.close()
            voltmeter.close()
        return
    with OddBench() as odd:
        source = make_source(odd.source_address, dialects[0], transcript=record)
        voltmeter = make_voltmeter(odd.voltmeter_address, dialects[1], transcript=record)
        yield Pair(source, voltmeter, odd.source.circuit.resistance_ohm, ScaledClock(), sent)
        source.close()
        voltmeter.close()


def test_a_reversal_reads_the_resistance(pair: Pair) -> None:
    pair.source.open()
    pair.voltmeter.open()
    pair.source.configure(current_A=1.0, compliance_V=1.0)
    pair.voltmeter.configure(nplc=1, line_frequency_Hz=50, range_V=2e-3)
    pair.source.output_on()
    assert pair.source.step(1.0) is False
    pair.clock.sleep(0.02)
    plus = pair.voltmeter.read()
    pair.source.step(-1.0)
    pair.clock.sleep(0.02)
    minus = pair.voltmeter.read()
    assert pair.source.safe() is True
    assert (plus - minus) / 2 == pytest.approx(pair.resistance_ohm, rel=2e-3)
    assert all(s.verified for s in [*pair.source.settings, *pair.voltmeter.settings])
    assert {s.name for s in pair.source.settings} >= {"compliance", "level", "output"}
    if pair.source.compound:
        assert [m for _, way, m in pair.sent if way == ">" and "CURR -1.0" in m and "*OPC?" in m]


def test_nothing_switches_on_before_it_is_asked_to(pair: Pair) -> None:
    pair.source.open()
    pair.source.configure(current_A=1.0, compliance_V=1.0)
    assert not any("OUTP ON" in message for _, way, message in pair.sent if way == ">")


def test_compliance_is_told(pair: Pair) -> None:
    pair.source.open()
    pair.source.configure(current_A=1.0, compliance_V=0.01)
    pair.source.output_on()
    assert pair.source.step(1.0) is True
    assert pair.source.safe() is True


def test_a_refused_setting_names_the_command(pair: Pair) -> None:
    pair.source.open()
    with pytest.raises(ReportedError, match=r"the instrument reports -2\d\d .* at ':S.*VOLT:"):
        pair.source.configure(current_A=1.0, compliance_V=500.0)


def test_probing_leaves_the_error_queue_empty(pair: Pair) -> None:
    pair.source.open()
    pair.source.configure(current_A=1.0, compliance_V=1.0)
    pair.source.check_errors("after set-up")


def test_old_errors_are_kept_as_notices() -> None:
    bench = SimulatedBench(load_scenario("shunt"), VirtualClock())
    bench.source.process("NONSENSE")
    source = make_source("source", load_dialect("scpi", "source"), wire=lambda: Loopback(bench.source))
    source.open()
    assert source.notices == ["found in the error queue: -113 Undefined header"]


def test_an_unanswered_reading_is_a_time_out_from_the_aperture() -> None:
    bench = SimulatedBench(load_scenario("shunt"), VirtualClock())
    voltmeter = make_voltmeter("voltmeter", load_dialect("scpi", "voltmeter"), wire=lambda: Loopback(bench.voltmeter))
    voltmeter.open()
    voltmeter.configure(nplc=10, line_frequency_Hz=50, range_V=0.01)
    bench.voltmeter.process("TRIG:SOUR BUS")
    before = bench.clock.now()
    with pytest.raises(LinkTimeout, match=r"at ':READ\?'"):
        voltmeter.read()
    assert 0.4 < bench.clock.now() - before < 5.0
