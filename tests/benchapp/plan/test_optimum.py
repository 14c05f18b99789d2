"""From a target to a recipe: that it is reached, what limits, and the floor."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchapp.analysis.noise import Noise, fit_noise
from benchapp.analysis.sliding import sliding_blocks
from benchapp.cli.main import main
from benchapp.plan.learnt import learn
from benchapp.plan.optimum import Wish, plan
from benchapp.plan.weights import Pace, readings_of_recipe, scatter
from benchapp.recipe import Recipe, StopRule, build_recipe, entries_from_toml
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import load_card
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of
from tests.statistics.plans import card, noise_of

_CARD = """
[voltmeter]
noise_nV_per_rt_Hz = 25
flicker_corner_Hz = 0.5
[[voltmeter.range]]
range = "1 mV"
reading_ppm = 60
range_ppm = 10
[source]
noise_ppm_per_rt_Hz = 0.5
[[source.range]]
range = "10 A"
reading_ppm = 150
range_ppm = 50
[circuit]
emf_walk_nV_per_rt_s = 5
sense_leads = "2 ohm"
"""


def wish(part: float = 2e-4, **changes: object) -> Wish:
    R = 250e-6
    return replace(Wish(R, part * R, Noise(6.25e-16), BudgetPlan(card(50.0, 60.0)), 10.0), **changes)  # type: ignore[arg-type]


def test_the_weights_are_those_of_the_mean_of_sliding_blocks() -> None:
    # White noise through the estimator itself: its variance is that of the prediction.
    recipe = Recipe(1.0, signs="++--", stop=StopRule(None, duration_s=10.0))
    series = readings_of_recipe(recipe, 240, Pace())
    rng = np.random.default_rng(1)
    means = [
        sliding_blocks(series.middle_s, series.part, rng.standard_normal(240), emf_order=1, middle_A=0.0)
        .resistance_ohm.mean()
        for _ in range(400)
    ]  # fmt: skip
    found = scatter(recipe, 240, Noise(2 * recipe.aperture_s), Pace())
    assert np.std(means) == pytest.approx(found.u_ohm, rel=0.12)


def test_flicker_between_neighbours_is_that_of_the_allan_variance() -> None:
    # Of noise with the density A / f it is 2 ln 2 A at every time (NIST SP 1065, table of noise types; from memory).
    a = 0.02
    C = Noise(0.0, 1.0).covariance(np.array([0.0, a]), a)
    w = np.array([1.0, -1.0])
    assert w @ C @ w / 2 == pytest.approx(2 * math.log(2), rel=1e-9)


@pytest.mark.parametrize("walk", [0.0, 150e-9])
def test_the_noise_is_found_again(walk: float) -> None:
    rng = np.random.default_rng(3)
    white, step, found = 20e-9, 0.04, []
    for _ in range(12):
        V = white / math.sqrt(2 * 0.02) * rng.standard_normal(900)
        V += np.cumsum(walk * math.sqrt(step) * rng.standard_normal(900)) + np.linspace(0, 1e-5, 900) ** 2
        one = fit_noise(V, step, 0.02)
        found.append((math.sqrt(one.white_V2_per_Hz), one.walk_V_per_rt_s))
    assert np.median([one[0] for one in found]) == pytest.approx(white, rel=0.05)
    if walk:
        assert np.median([one[1] for one in found]) == pytest.approx(walk, rel=0.3)


def test_what_is_planned_is_permitted_and_reaches_the_target() -> None:
    permitted = wish(most_power_W=1e-3, most_voltage_V=0.4e-3, most_time_s=60.0)
    best = plan(permitted).proposals[0]
    assert best.mostly_U_ohm <= permitted.target_ohm
    assert best.power_W <= 1e-3
    assert best.voltage_V <= 0.4e-3
    assert best.time_s <= 60.0
    scenario = load_scenario("shunt")
    asked = wish(noise=noise_of(scenario))
    recipe = plan(asked).proposals[0].recipe
    run = Rehearsal(scenario, 5)
    run.run(recipe)
    assert run.statement(asked.known).expanded_uncertainty_ohm <= asked.target_ohm


def test_an_examined_run_is_planned_in_whole_cycles() -> None:
    recipe = plan(wish(examine=True)).proposals[0].recipe
    assert recipe.examine
    assert (recipe.stop.cycles or 0) >= 5


def test_the_floor_is_told_with_what_makes_it_and_what_would_meet_it() -> None:
    found = plan(wish(part=2e-5))
    assert found.proposals == ()
    assert found.floor is not None
    assert found.floor.largest.name == "source current"
    # With that term so much smaller the target is met.
    better = card(5.0, 60.0 / found.floor.needed_factor if math.isfinite(found.floor.needed_factor) else 0.0)
    assert plan(wish(part=2e-5, known=BudgetPlan(better))).floor.U_ohm < found.floor.U_ohm  # type: ignore[union-attr]


def test_more_power_takes_less_time() -> None:
    times = [plan(wish(part=1e-3, most_power_W=power)).proposals[0].time_s for power in (1e-5, 1e-4, 1e-3)]
    assert times == sorted(times, reverse=True)


def test_a_run_tells_its_noise_and_pace() -> None:
    scenario = load_scenario("crimp_contact")
    run = Rehearsal(scenario, 4)
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=30.0))
    run.run(recipe)
    t, I, V = np.array([reading[1:] for reading in run.readings]).T
    learnt = learn(recipe, t, I, V, "run 1")
    true = noise_of(scenario)
    count = len(t)
    ratio = scatter(recipe, count, learnt.noise, learnt.pace).u_ohm / scatter(recipe, count, true, learnt.pace).u_ohm
    assert 0.75 < ratio < 1.3
    assert learnt.resistance_ohm == pytest.approx(scenario.specimen.resistance_ohm, rel=1e-3)


def test_by_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    data, out = tmp_path / "card.toml", tmp_path / "recipe.toml"
    data.write_text(_CARD, "utf-8")
    options = ["plan", "--nominal", "250 uohm", "--accuracy", str(data)]
    assert main([*options, "--target", "0.05 %", "--out", str(out)]) == 0
    text = capsys.readouterr().out
    assert "what limits" in text
    assert "floor" in text
    recipe = build_recipe(entries_from_toml(out))
    assert recipe.nominal_ohm == 250e-6
    assert recipe.range_V == 1e-3
    assert main([*options, "--target", "20 ppm", "--json", "-"]) == 4
    told = json.loads(capsys.readouterr().out)
    assert told["reached"] is False
    assert told["floor"]["largest"] == "source current"
    assert main([*options, "--target", "0 %"]) == 2
    assert "--target" in capsys.readouterr().err
    assert load_card(data).circuit.sense_leads_ohm == 2.0


def test_a_look_at_the_bench_first(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    out = tmp_path / "planned.toml"
    options = ["plan", "--scenario", "shunt", "--speed", "20", "--target", "0.02 %", "--look", "20 s"]
    assert main([*options, "--out", str(out)]) == 0
    assert "a run of" in capsys.readouterr().out
    assert main(["measure", str(out), "--scenario", "shunt", "--speed", "20"]) == 0
    assert main([*options, "--from-run", "1"]) == 2
    assert "--look" in capsys.readouterr().err


def test_without_noise_nothing_is_planned(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    data = tmp_path / "card.toml"
    data.write_text('[voltmeter]\n[[voltmeter.range]]\nrange = "1 mV"\nreading_ppm = 60\n', "utf-8")
    assert main(["plan", "--nominal", "250 uohm", "--target", "0.05 %", "--accuracy", str(data)]) == 2
    assert "noise_nV_per_rt_Hz" in capsys.readouterr().err
