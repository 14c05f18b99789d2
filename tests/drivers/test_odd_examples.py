"""The two shipped examples that speak no SCPI: the same shunt, the same value, and switched off from outside."""

import math

import pytest

from drivers.dialect import load_dialect
from drivers.errors import ReportedError, SettingError
from drivers.link import Habits, Link
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from sim.bench import SimulatedBench
from sim.clock import ScaledClock, VirtualClock
from sim.devices.faulty import FaultyInstrument
from sim.loopback import Loopback
from sim.scenario import load_scenario
from sim.server import InstrumentServer
from sim.world.config import Faults
from tests.benchapp.simulated import Rehearsal, recipe_of


def _estimate(name: str, seed: int) -> tuple[float, float]:
    scenario = load_scenario(name)
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario))
    return rehearsal.estimate.resistance_ohm, rehearsal.estimate.repeatability_95_ohm


def test_the_odd_pair_agrees_with_the_scpi_pair_within_the_interval() -> None:
    misses = 0
    for seed in range(30):
        odd, odd_half = _estimate("foreign_pair", seed)
        plain, plain_half = _estimate("shunt", 500 + seed)
        misses += abs(odd - plain) > math.hypot(odd_half, plain_half)
    assert misses <= 5  # of 30 at 5 %


def _source() -> tuple[SimulatedBench, ScpiSource]:
    bench = SimulatedBench(load_scenario("foreign_pair"), VirtualClock())
    source = ScpiSource(Link(lambda: Loopback(bench.source), "Q"), load_dialect("quill", "source"))
    source.open()
    return bench, source


def test_the_odd_source_is_set_up_read_back_and_switched_off() -> None:
    bench, source = _source()
    source.configure(current_A=0.5, compliance_V=1.5)
    assert {s.name: s.verified for s in source.settings} == {"range": True, "compliance": True, "level": True}
    source.output_on()
    assert bench.source.output_on
    assert source.step(0.5) is False
    assert bench.source.process("I?") == "I = +500.000000 mA"
    plan = source.safe_plan()
    assert (plan.safe, plan.query) == (("REST",), "DRIVING?")
    assert "NO" in plan.off
    assert source.safe()
    assert not bench.source.output_on


def test_what_the_odd_source_refuses_is_told_by_its_register() -> None:
    _, source = _source()
    with pytest.raises(ReportedError, match="event register"):
        source.set("compliance", 900.0)


def test_what_the_odd_voltmeter_refuses_stands_in_its_answer() -> None:
    bench = SimulatedBench(load_scenario("foreign_pair"), VirtualClock())
    dialect = load_dialect("lantern", "voltmeter")
    meter = ScpiVoltmeter(Link(lambda: Loopback(bench.voltmeter), "L", habits=Habits(prompt="> ")), dialect)
    meter.open()
    with pytest.raises(ReportedError, match="ERR 7"):
        meter.set("aperture", 100.0)
    meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=0.01)
    assert meter.settings[-1].read_back == "SPAN=2"
    assert abs(meter.read()) < 1e-3


def test_a_slow_instrument_for_one_client_is_waited_for() -> None:
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    server = InstrumentServer(FaultyInstrument(bench.source, Faults(slow_s=0.2, one_client=1)))
    try:
        from drivers.registry import make_source

        source = make_source(server.address, load_dialect("scpi", "source"))
        source.open()
        source.configure(current_A=1.0, compliance_V=1.0)
        assert source.safe()
        source.close()
    finally:
        server.close()


def test_a_source_that_takes_less_than_it_is_told_is_not_switched_on() -> None:
    bench = SimulatedBench(load_scenario("shunt"), VirtualClock())
    shy = FaultyInstrument(bench.source, Faults(clamp=0.9))
    source = ScpiSource(Link(lambda: Loopback(shy), "S"), load_dialect("scpi", "source"))
    source.open()
    with pytest.raises(SettingError, match=r"compliance was set to 1.* at ':SOUR:VOLT:LIM 1"):
        source.configure(current_A=1.0, compliance_V=1.0)
    assert not bench.source.output_on
