"""The current measured over a standard resistor: what the source does no longer counts, and is told."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import plan_bench
from benchapp.errors import InputError
from benchapp.events import EndReason, EventKind
from benchapp.measure.control import Control
from benchapp.measure.snapshot import Batch
from benchapp.recipe import Recipe, StopRule, build_recipe, entries_from_text, recipe_to_toml
from benchapp.recipe_values import Entry
from benchapp.result.budget import BudgetPlan, Scope, whole_uncertainty
from benchapp.result.card import load_card
from benchapp.result.measured_current import flags_of_measured_current
from sim.scenario import load_scenario
from sim.world.config import Source
from sim.world.current import CurrentTrace, SourceNoise
from tests.benchapp.simulated import Rehearsal, recipe_of

BENCH = load_scenario("gain_error")
TRUTH = 1.00041e-3


def test_the_source_no_longer_counts() -> None:
    inside = {0.01: 0, None: 0}
    for shunt_ohm in inside:
        for seed in range(20):
            rehearsal = Rehearsal(BENCH, seed)
            end = rehearsal.run(recipe_of(BENCH, current_shunt_ohm=shunt_ohm))
            assert (end.reason, end.output_off) == (EndReason.RULE, True)
            stated = rehearsal.statement()
            inside[shunt_ohm] += abs(stated.resistance_ohm - TRUTH) < stated.expanded_uncertainty_ohm
    assert inside[0.01] >= 16  # of 20 at 95 %
    assert inside[None] == 0  # 0.3 % off, and as sure of itself


def test_what_was_measured_is_in_the_record_and_said() -> None:
    rehearsal = Rehearsal(BENCH)
    rehearsal.run(recipe_of(BENCH))
    currents = np.array([reading.current_A for reading in rehearsal.readings])
    assert abs(currents[currents > 0].mean() - 1.0034) < 1e-4
    assert abs(currents[currents < 0].mean() + 1.003) < 1e-4
    stated = rehearsal.statement()
    assert [flag.code for flag in stated.flags] == ["source-gain"]
    assert "+0.3" in stated.flags[0].text
    untested = {item.code for item in stated.not_tested}
    assert "resistor" in untested
    assert not {"wrong-current", "asymmetry"} & untested
    assert {"current-dependence", "steady-heating"} <= untested  # two signs of one source are one size
    assert stated.conditions.current_shunt_ohm == 0.01
    assert rehearsal.facts.current_range_V == 0.1
    assert set(rehearsal.facts.identities) == {"source", "voltmeter", "current voltmeter"}


def test_both_are_read_in_the_same_step_and_its_complaints_are_heard() -> None:
    rehearsal = Rehearsal(BENCH)
    rehearsal.run(recipe_of(BENCH, stop=StopRule(3)))
    asked = [who for who, way, message in rehearsal.sent if way == ">" and message == ":READ?"]
    assert asked[::2] == ["voltmeter"] * (len(asked) // 2)
    assert asked[1::2] == ["current voltmeter"] * (len(asked) // 2)


def test_the_second_voltmeters_complaints_are_heard() -> None:
    rehearsal = Rehearsal(BENCH)
    done: list[int] = []

    def on_batch(batch: Batch, _: Control) -> None:
        if batch.snapshot.readings >= 20 and not done:
            assert rehearsal.sim.current_voltmeter is not None
            rehearsal.sim.current_voltmeter.raise_error(-310)
            done.append(1)

    rehearsal.on_batch = on_batch
    rehearsal.run(recipe_of(BENCH))
    told = [event.text for event in rehearsal.events if event.kind is EventKind.COMPLAINT]
    assert len(told) == 1
    assert told[0].startswith("current voltmeter: ")
    assert "voltmeter-complained" in [reason.code for reason in rehearsal.statement().reasons]


def test_a_resistor_of_another_value_is_noticed() -> None:
    rehearsal = Rehearsal(BENCH)
    rehearsal.run(recipe_of(BENCH, current_shunt_ohm=0.011))
    stated = rehearsal.statement()
    assert str(stated.validity) == "doubtful"
    assert "current-differs" in [reason.code for reason in stated.reasons]


@pytest.mark.parametrize(
    ("measured_A", "codes"),
    [(1.00005, []), (1.0002, ["source-gain"]), (0.96, ["source-gain"]), (1.06, ["current-differs"]), (0.0, [])],
)
def test_from_which_difference_on_it_is_said(measured_A: float, codes: list[str]) -> None:
    assert [flag.code for flag in flags_of_measured_current([measured_A, -measured_A] * 4, 1.0)] == codes


def test_a_measured_current_beyond_the_house_limit_ends_the_run() -> None:
    wild = replace(BENCH, source=replace(BENCH.source, gain_error=0.5))
    rehearsal = Rehearsal(wild, limits=HouseLimits(current_A=1.0))
    end = rehearsal.run(recipe_of(wild, range_V=None))
    assert (end.reason, end.output_off) == (EndReason.LIMIT, True)
    assert "measured current" in end.text
    assert rehearsal.readings == []  # seen while the signs are held, before the run
    near = Rehearsal(BENCH, limits=HouseLimits(current_A=1.0))  # 0.3 % is what a source may be off
    assert near.run(recipe_of(BENCH)).reason is EndReason.RULE


def test_an_overload_of_the_second_voltmeter_ends_the_run() -> None:
    loose = replace(BENCH, current_shunt=replace(BENCH.current_shunt, resistance_ohm=0.2))
    rehearsal = Rehearsal(loose)
    end = rehearsal.run(recipe_of(loose))
    assert end.reason is EndReason.OVERLOAD
    assert "over the resistor" in end.text


def test_noise_of_the_source_falls_out_where_both_look_at_the_same_time() -> None:
    noise = SourceNoise(1e-3, np.random.default_rng(1))
    first, second = noise.mean_A(0.0, 0.02), noise.mean_A(0.0, 0.02)
    assert first == second
    late = [(noise.mean_A(k, k + 0.02), noise.mean_A(k + 0.01, k + 0.03)) for k in range(1, 4000)]
    a, b = np.array(late).T
    assert np.corrcoef(a, b)[0, 1] == pytest.approx(0.5, abs=0.05)  # by their common half
    assert a.std() == pytest.approx(1e-3 / math.sqrt(0.04), rel=0.05)
    assert b.std() == pytest.approx(a.std(), rel=0.05)


def test_the_mean_of_a_current_that_settles() -> None:
    trace = CurrentTrace(0.5)
    trace.add(1.0, 2.0)
    assert trace.mean_A(0.0, 1.0) == 0.0
    wanted = 2.0 * (1 - 0.5 * (1 - math.exp(-2.0)))  # the integral of 1 - exp(-t / tau) over 1 s
    assert trace.mean_A(1.0, 2.0) == pytest.approx(wanted, rel=1e-12)
    trace.add(2.0, -1.0)
    at = 2.0 * (1 - math.exp(-2.0))
    assert trace.mean_A(2.0, 3.0) == pytest.approx(-1.0 + (at + 1.0) * 0.5 * (1 - math.exp(-2.0)), rel=1e-12)
    assert trace.mean_A(0.5, 3.0) == pytest.approx((trace.mean_A(1.0, 2.0) + trace.mean_A(2.0, 3.0)) / 2.5, rel=1e-12)
    sharp = CurrentTrace(0.0)
    for k in range(200):
        sharp.add(float(k), float(k))
    assert sharp.mean_A(150.5, 152.0) == pytest.approx((0.5 * 150 + 151) / 1.5)


def test_a_recipe_keeps_the_resistor_and_no_steps_by_lines_stand_beside_it() -> None:
    recipe = Recipe(current_A=1.0, current_shunt_ohm=0.0100012)
    assert build_recipe(entries_from_text(recipe_to_toml(recipe), "recipe")) == recipe
    texts = {"current": "1 A", "current_shunt": "10 mohm", "stepping": "lines"}
    with pytest.raises(InputError, match='Write stepping = "host"'):
        build_recipe({key: Entry(text, key) for key, text in texts.items()})


def test_the_second_voltmeter_is_one_of_its_own() -> None:
    source, voltmeter = "TCPIP::127.0.0.1::5::SOCKET", "TCPIP::127.0.0.1::6::SOCKET"
    with pytest.raises(InputError, match="--current-voltmeter"):
        plan_bench(source, voltmeter, current_voltmeter=voltmeter)
    with pytest.raises(InputError, match="--current-voltmeter-dialect"):
        plan_bench(source, voltmeter, current_voltmeter="TCPIP::127.0.0.1::7::SOCKET", current_voltmeter_dialect="x")


CARD = """
[voltmeter]
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 50
range_ppm = 4
[source]
due = 2020-01-01
[[source.range]]
range = "1 A"
reading_ppm = 3000
[current_voltmeter]
[[current_voltmeter.range]]
range = "100 mV"
reading_ppm = 40
range_ppm = 6
resolution = "100 nV"
[current_shunt]
uncertainty_ppm = 20
temperature = "28 degC"
temperature_ppm_per_K = 2
drift_ppm_per_year = 5
calibrated = 2025-11-27
due = 2026-01-01
"""


def test_the_budget_holds_the_resistor_and_not_the_source(tmp_path: Path) -> None:
    """JCGM 100: each relative limit as a rectangle, the certificate's expanded uncertainty halved."""
    path = tmp_path / "card.toml"
    path.write_text(CARD)
    plan = BudgetPlan(
        load_card(path), range_V=0.01, current_shunt_ohm=0.01, current_range_V=0.1, on=datetime.date(2026, 11, 27)
    )
    whole = whole_uncertainty(1e-3, 1e-9, 50.0, 1.0, plan)
    found = {c.name: abs(c.contribution) / 1e-3 * 1e6 for c in whole.budget.contributions}  # ppm of R
    root3 = math.sqrt(3)
    assert found["current shunt value"] == pytest.approx(10)
    assert found["current shunt temperature"] == pytest.approx(2 * 5 / root3)
    assert found["current shunt calibration age"] == pytest.approx(5 / root3, rel=2e-3)
    assert found["current voltmeter gain"] == pytest.approx(40 / root3)
    assert found["current voltmeter linearity"] == pytest.approx(6 * 0.1 / 0.01 / root3)
    assert found["current voltmeter resolution"] == pytest.approx(5e-8 / 0.01 * 1e6 / root3)
    assert "source current" not in found
    assert whole.scope is Scope.ALL
    assert [flag.text for flag in whole.flags if flag.code == "calibration-overdue"] == [
        "The current shunt's calibration had ended on 2026-01-01 when this was measured. Have it calibrated."
    ]
    without = replace(plan.card, current_shunt=None) if plan.card else None
    assert whole_uncertainty(1e-3, 1e-9, 50.0, 1.0, replace(plan, card=without)).scope is Scope.REPEATABILITY


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[current_shunt]\nname = 'S'\n", "current_shunt.uncertainty_ppm: missing"),
        ("[current_shunt]\nuncertainty_ppm = -1\n", "current_shunt.uncertainty_ppm"),
        ("[current_shunt]\nuncertainty_ppm = 1\nohm = 3\n", "current_shunt.ohm"),
        ("current_shunt = 3\n", "current_shunt"),
    ],
)
def test_what_is_wrong_with_a_resistor_is_said(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "card.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_card(path)
    assert told.partition(":")[0] in str(caught.value)


def test_a_source_that_drifts_in_the_simulator_drifts() -> None:
    drifting = replace(BENCH, source=Source(gain_drift_per_s=1e-3))
    rehearsal = Rehearsal(drifting)
    rehearsal.run(recipe_of(drifting))
    plus = [reading for reading in rehearsal.readings if reading.current_A > 0]
    slope = (plus[-1].current_A - plus[0].current_A) / (plus[-1].time_s - plus[0].time_s)
    assert slope == pytest.approx(1e-3, rel=0.05)
