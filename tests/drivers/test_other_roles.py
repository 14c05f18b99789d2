"""Thermometer and switch over the simulated instruments."""

import threading

import numpy as np
import pytest

from benchapp.analysis.estimate import estimate_readings
from benchapp.bench.bench import Bench
from benchapp.bench.plan import BenchPlan
from benchapp.events import EndReason
from benchapp.measure.snapshot import Batch
from drivers.dialect import load_dialect
from drivers.errors import ReplyError, ReportedError, SettingError
from drivers.link import Link
from drivers.polarity import Polarity, UnipolarSource
from drivers.scpi_switch import ScpiSwitch
from drivers.scpi_thermometer import ScpiThermometer
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.devices.current_source import CurrentSource
from sim.devices.switch import Switch
from sim.devices.thermometer import Thermometer
from sim.loopback import Loopback
from sim.scenario import load_scenario
from tests.benchapp.simulated import recipe_of, run_on


def thermometer(temperature_C: float) -> ScpiThermometer:
    device = Thermometer(lambda: temperature_C, np.random.default_rng(1), VirtualClock(), threading.RLock())
    driver = ScpiThermometer(Link(lambda: Loopback(device), "T"), load_dialect("scpi", "thermometer"))
    driver.open()
    driver.configure()
    return driver


def test_a_temperature() -> None:
    assert thermometer(23.4).read_C() == pytest.approx(23.4, abs=0.03)


def test_a_broken_sensor_is_no_temperature() -> None:
    with pytest.raises(ReplyError, match="Check the sensor"):
        thermometer(9.9e37).read_C()


def switch(seen: list[frozenset[int]]) -> tuple[Switch, ScpiSwitch]:
    device = Switch(4, seen.append, VirtualClock(), threading.RLock())
    driver = ScpiSwitch(Link(lambda: Loopback(device), "K"), load_dialect("scpi", "switch"))
    driver.open()
    return device, driver


def test_one_connection_at_a_time_opened_before_another_closes() -> None:
    seen: list[frozenset[int]] = []
    device, driver = switch(seen)
    driver.connect("2")
    driver.connect("3")
    assert device.closed == {3}
    assert all(len(closed) <= 1 for closed in seen)
    driver.open_all()
    assert not device.closed


def test_a_channel_that_is_not_there_is_refused() -> None:
    _, driver = switch([])
    with pytest.raises(ReportedError, match="-222"):
        driver.connect("9")


def test_a_contact_that_does_not_close_is_noticed() -> None:
    device, driver = switch([])
    device._go = lambda closed: None  # type: ignore[method-assign]  # stuck
    with pytest.raises(SettingError, match="reads back open"):
        driver.connect("1")


def test_a_unipolar_source_measures_through_its_polarity_switch() -> None:
    scenario = load_scenario("shunt")
    clock = VirtualClock()
    bench = SimulatedBench(scenario, clock, 3)
    assert isinstance(bench.source, CurrentSource)
    moved_under_current: list[float] = []

    def turn(closed: frozenset[int]) -> None:
        assert isinstance(bench.source, CurrentSource)
        level = float(bench.source.process(":SOUR:CURR?") or "nan")
        if level:
            moved_under_current.append(level)
        bench.source.turn({frozenset({1}): 1.0, frozenset({2}): -1.0}.get(closed, 0.0))

    device = Switch(2, turn, clock, threading.RLock())
    driver = ScpiSwitch(Link(lambda: Loopback(device), "K"), load_dialect("scpi", "switch"))
    driver.open()
    plan = BenchPlan(
        "source",
        "voltmeter",
        load_dialect("scpi", "source"),
        load_dialect("scpi", "voltmeter"),
        lambda: Loopback(bench.source),
        lambda: Loopback(bench.voltmeter),
        source_driver=UnipolarSource,
        polarity=Polarity(driver, "1", "2"),
    )
    batches: list[Batch] = []
    end = run_on(Bench(plan), recipe_of(scenario, signs="+--+"), clock, batches.append)
    assert (end.reason, end.output_off) == (EndReason.RULE, True)
    readings = [row[1:] for batch in batches for row in batch.readings]
    estimate, _ = estimate_readings(*zip(*readings, strict=True))
    assert abs(estimate.resistance_ohm - bench.circuit.resistance_ohm()) < 2 * estimate.repeatability_95_ohm
    assert moved_under_current == []
    assert not [m for m in driver.notices if "-" in m]
