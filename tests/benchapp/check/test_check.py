"""The check before a run: what it finds, where it points, and how little flows while it looks."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from benchapp.bench.limits import HouseLimits, LimitExceeded
from benchapp.check.finding import State
from benchapp.cli.main import main
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard, InstrumentSpec, RangeAccuracy
from benchapp.result.validity import Effect
from sim.scenario import Scenario, load_scenario
from tests.benchapp.checked import checked
from tests.benchapp.simulated import recipe_of


def shunt(**wiring: float) -> Scenario:
    scenario = load_scenario("shunt")
    return replace(scenario, wiring=replace(scenario.wiring, **wiring))


@pytest.mark.parametrize("name", ["shunt", "crimp_contact", "bond_wire", "noisy_source"])
def test_a_bench_in_order_passes_in_seconds_at_one_per_cent(name: str) -> None:
    found = checked(load_scenario(name))
    assert found.failed == set()
    assert found.bench.circuit.fixture.largest_A <= 0.01001 * recipe_of(load_scenario(name)).current_A
    assert found.seconds < 3.2


@pytest.mark.parametrize(
    ("wiring", "name", "where"),
    [
        ({"sense_gain": 0.0}, "signal", "sense leads"),
        ({"source_leads_ohm": 1e7}, "signal", "source leads"),
        ({"sense_gain": -1.0}, "sense pair", "source leads or sense leads"),
        ({"settling_time_constant_s": 0.04}, "settling", "the circuit"),
    ],
)
def test_a_lead_that_is_wrong_is_named_and_shuts_the_gate(wiring: dict[str, float], name: str, where: str) -> None:
    found = checked(shunt(**wiring))
    one = found.one(name)
    assert one.state is State.FAILS
    assert one.where == where
    assert one.remedy
    assert one.effect is Effect.NOT_VALID


def test_what_hangs_on_a_failed_test_waits() -> None:
    found = checked(shunt(sense_gain=0.0))
    waiting = {one.name for one in found.findings if one.state is State.WAITS}
    assert waiting >= {"sense pair", "scale", "nominal value", "settling", "power"}


def test_two_wire_is_not_the_nominal_value() -> None:
    scenario = load_scenario("shunt")
    # Lead resistance in series: three times what was meant.
    found = checked(scenario, recipe=recipe_of(scenario, nominal_ohm=scenario.specimen.resistance_ohm / 3))
    assert found.one("nominal value").state is State.FAILS
    assert found.one("settling").state is State.WAITS


@pytest.mark.parametrize("part", [0.01, 0.1])
def test_a_source_in_wrong_units_is_found_before_the_trial_current(part: float) -> None:
    scenario = load_scenario("shunt")
    wrong = replace(scenario, source=replace(scenario.source, gain_error=999.0))
    recipe = recipe_of(scenario)
    found = checked(wrong, recipe=recipe, part=part)
    assert found.failed == {"signal"}
    assert "first step" in found.one("signal").figure
    # What flowed in truth: a thousand times the first step.
    assert found.bench.circuit.fixture.largest_A <= 0.01001 * recipe.current_A


def test_a_source_without_so_small_a_range_is_checked_on_its_own() -> None:
    scenario = load_scenario("shunt")
    coarse = replace(scenario, source=replace(scenario.source, max_current_A=100.0))
    found = checked(coarse)
    assert found.failed == set()
    assert found.bench.circuit.fixture.largest_A <= 0.01001 * recipe_of(scenario).current_A


def test_noise_is_held_against_the_accuracy_data() -> None:
    scenario = load_scenario("shunt")
    rows = (RangeAccuracy(1e-2, 50.0, 4.0),)
    spec = InstrumentSpec(rows, noise_per_rt_Hz=scenario.voltmeter.noise_V_per_rt_Hz)
    known = BudgetPlan(InstrumentCard(spec, None))
    assert checked(scenario, known=known).one("noise").state is State.OK
    assert checked(shunt(sense_leads_ohm=1e6), known=known).one("noise").state is State.FAILS
    assert checked(scenario).one("noise").state is State.NOT_TESTED


def test_hum_and_a_wrong_line_frequency() -> None:
    scenario = load_scenario("shunt")
    humming = replace(scenario, voltmeter=replace(scenario.voltmeter, mains_pickup_V=2e-5, line_frequency_Hz=60.0))
    found = checked(humming, recipe=recipe_of(scenario, line_frequency_Hz=60.0))
    assert found.failed == {"hum"}
    found = checked(humming, recipe=recipe_of(scenario, line_frequency_Hz=50.0))
    assert "line frequency" in found.failed


def test_what_the_full_current_would_do_is_foreseen() -> None:
    scenario = shunt(source_leads_ohm=1e-4)
    found = checked(scenario, recipe=recipe_of(scenario, range_V=1e-3, compliance_V=1.1e-3))
    assert {"voltage and range", "compliance"} <= found.failed


def test_the_house_limits_hold_for_the_whole_recipe() -> None:
    scenario = load_scenario("shunt")
    with pytest.raises(LimitExceeded):
        checked(scenario, limits=HouseLimits(current_A=1.0))


def test_the_gate_before_a_run(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    fast = ("--speed", "40", "--blocks", "5")
    assert main(["measure", "--check", "--scenario", "open_sense_lead", *fast]) == 4
    assert "would not be valid: signal" in capsys.readouterr().err
    assert not (tmp_path / "logbook.sqlite").exists()
    assert main(["measure", "--check", "--scenario", "shunt", *fast]) == 0
    assert "A run may start" in capsys.readouterr().err
    assert main(["check", "--scenario", "lugs_on_fixture"]) == 2
    assert "channels" in capsys.readouterr().err


def test_by_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    assert main(["check", "--scenario", "shunt", "--speed", "20"]) == 0
    assert "A run may start" in capsys.readouterr().out
    assert main(["check", "--scenario", "exchanged_leads", "--speed", "20", "--json", "-"]) == 4
    told = json.loads(capsys.readouterr().out)
    assert told["may_start"] is False
    assert main(["check", "--scenario", "shunt", "--at", "200 %"]) == 2
    assert "--at" in capsys.readouterr().err
