"""The examined run: what its cycle is, that its readings are made independent, and that what is there is found."""

from dataclasses import replace

import numpy as np
import pytest

from benchapp.analysis.estimate import Estimator
from benchapp.analysis.examined.columns import readings_of, resistance_columns, warmth
from benchapp.analysis.examined.cycle import LONGEST_DWELL, Cycle
from benchapp.analysis.examined.fit import Fit
from benchapp.analysis.examined.whitening import Walk, Whitener
from benchapp.logbook.replay import analyse_by
from benchapp.recipe import Recipe, StopRule
from benchapp.result.examined import examined_from, examined_object
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of


def examined(name: str, cycles: int = 9, **changes: object) -> Rehearsal:
    scenario = load_scenario(name)
    run = Rehearsal(scenario, scenario.seed)
    run.run(recipe_of(scenario, examine=True, stop=StopRule(None, cycles=cycles), **changes))
    return run


@pytest.mark.parametrize("third", [False, True])
def test_a_cycle_is_mostly_at_the_working_current_and_never_above(third: bool) -> None:
    cycle = Cycle(third)
    part = np.array([cycle.part(k) for k in range(2 * cycle.readings)])
    assert np.abs(part).max() == 1.0
    assert part.sum() == 0.0
    assert (np.abs(part) == 1.0).mean() > 0.65
    assert (part[: cycle.readings] == -part[cycle.readings :]).all()
    assert cycle.positions.max() == LONGEST_DWELL - 1
    assert set(np.abs(part)) == ({0.0, 0.25, 0.5, 1.0} if third else {0.0, 0.5, 1.0})


@pytest.mark.parametrize("walk", [Walk(0.0, 0.0), Walk(0.5, 0.0), Walk(10.0, 0.01)])
def test_the_matrix_makes_the_readings_of_the_model_independent(walk: Walk) -> None:
    t = np.cumsum(np.random.default_rng(1).uniform(0.9, 1.1, 40))
    matrix, _ = Whitener(t).matrix(walk)
    t = (t - t[0]) / np.median(np.diff(t))
    s, l = np.minimum.outer(t, t), np.maximum.outer(t, t)
    covariance = np.eye(40) + walk.level * s + walk.slope * s**2 * (3 * l - s) / 6
    assert matrix @ covariance @ matrix.T == pytest.approx(np.eye(38), abs=1e-8)
    assert matrix @ np.column_stack([np.ones(40), t]) == pytest.approx(np.zeros((38, 2)), abs=1e-8)


def test_without_a_walk_it_is_least_squares_with_a_line_in_each_cycle() -> None:
    rng = np.random.default_rng(2)
    t = np.arange(30.0)
    columns = {name: rng.standard_normal((4, 30)) for name in ("one", "two")}
    V = rng.standard_normal((4, 30))
    fit = Fit(Whitener(t), Walk(0.0, 0.0), columns, V)
    lines = np.kron(np.eye(4), np.column_stack([np.ones(30), t]))
    design = np.column_stack([columns["one"].ravel(), columns["two"].ravel(), lines])
    by_numpy = np.linalg.lstsq(design, V.ravel(), rcond=None)[0]
    assert fit.term(one=1.0).value == pytest.approx(by_numpy[0], rel=1e-9)
    assert fit.term(one=2.0, two=-1.0).value == pytest.approx(2 * by_numpy[0] - by_numpy[1], rel=1e-9)


def test_warmth_follows_the_power() -> None:
    cycle = Cycle()
    n = 5 * cycle.readings
    rows = np.array([np.arange(n) * 0.1, [2.0 * cycle.part(k) for k in range(n)], np.zeros(n)])
    readings = readings_of(rows, cycle, 0.02)
    assert readings is not None
    fast, _ = warmth(readings, 0.001)
    slow, left = warmth(readings, 1e6)
    assert fast == pytest.approx(readings.level**2, abs=1e-6)
    assert slow.max() < 1e-3
    assert left == pytest.approx(np.ones_like(left), abs=1e-3)
    assert set(resistance_columns(readings)) == {"R", "R half", "even"}


@pytest.mark.parametrize(
    ("name", "effect", "tau_s"),
    [
        ("cable_drum", "settling", 0.012),
        ("soaking_insulation", "settling", 0.05),
        ("warm_shunt", "warming", 4.0),
        ("filmed_contact", "level", None),
        ("lopsided_source", "even", None),
    ],
)
def test_what_is_there_is_found_and_covered(name: str, effect: str, tau_s: float | None) -> None:
    run = examined(name)
    found = run.estimate.examined
    assert found is not None
    assert [one.name for one in found.effects if one.found] == [effect]
    if tau_s is not None:
        assert found.effect(effect).tau_s == pytest.approx(tau_s, rel=0.1)
    working = np.array([abs(reading.current_A) for reading in run.readings])
    truth = np.array(run.resistances)[: len(working)][working > 0.9 * working.max()].mean()
    truth += run.scenario.specimen.cubic_ohm_per_A2 * working.max() ** 2
    assert abs(run.estimate.resistance_ohm - truth) <= run.estimate.expanded_uncertainty_ohm
    assert run.statement().validity == "valid"


def test_nothing_is_found_where_nothing_is_and_the_words_say_from_which_size_on() -> None:
    run = examined("shunt")
    found = run.estimate.examined
    assert found is not None
    assert not any(effect.found for effect in found.effects)
    assert run.estimate.estimator is Estimator.EXAMINED
    untested = {item.code: item.text for item in run.statement().not_tested}
    assert "below" in untested["small-effects"]
    assert "slower than" in untested["slow-settling"]
    assert "current-dependence" not in untested
    plain = Rehearsal(load_scenario("shunt"), 1)
    plain.run(recipe_of(plain.scenario))
    assert "--examine tells" in {item.code: item.text for item in plain.statement().not_tested}["steady-heating"]


def test_what_a_measured_current_is_off_by_is_no_part_of_the_specimen() -> None:
    run = examined("gain_error")  # the voltmeter over the resistor reads -60 uA at zero current
    found = run.estimate.examined
    assert found is not None
    assert not found.effect("even").found
    assert run.estimate.expanded_uncertainty_ohm < 5e-9
    assert abs(run.estimate.resistance_ohm - 1.00041e-3) < 1.5 * run.estimate.expanded_uncertainty_ohm


def test_settling_that_no_fit_follows_is_not_valid() -> None:
    shunt = load_scenario("shunt")
    slow = replace(shunt, wiring=replace(shunt.wiring, absorption=0.02, absorption_time_constant_s=3.0))
    run = Rehearsal(slow, 3)
    run.run(recipe_of(slow, examine=True, stop=StopRule(None, cycles=9)))
    assert run.statement().validity == "not-valid"


def test_three_currents_name_an_emf_that_follows_the_sign() -> None:
    shunt = load_scenario("shunt")
    odd = replace(shunt, specimen=replace(shunt.specimen, following_V=1e-6))
    run = Rehearsal(odd, 3)
    run.run(recipe_of(odd, examine=True, third_level=True, stop=StopRule(None, cycles=9)))
    found = run.estimate.examined
    assert found is not None
    emf = found.effect("following")
    assert emf.found
    assert abs(emf.size_ohm - 1e-6 / run.recipe.current_A) <= 1.5 * emf.half_width_ohm
    assert abs(run.estimate.resistance_ohm - run.truth) <= run.estimate.expanded_uncertainty_ohm
    film = load_scenario("filmed_contact")
    run = Rehearsal(film, 3)
    run.run(recipe_of(film, examine=True, third_level=True, stop=StopRule(None, cycles=9)))
    assert run.estimate.examined is not None
    assert not run.estimate.examined.effect("following").found
    assert run.estimate.examined.effect("level").found


def test_a_run_stops_after_whole_cycles_and_never_above_its_current() -> None:
    run = examined("shunt", cycles=6)
    assert len(run.readings) == 600
    assert max(abs(reading.current_A) for reading in run.readings) == pytest.approx(run.recipe.current_A)


def test_too_short_a_run_says_so() -> None:
    run = Rehearsal(load_scenario("shunt"), 1)
    run.run(recipe_of(run.scenario, examine=True, stop=StopRule(None, duration_s=6.0)))
    assert "examined-too-short" in {flag.code for flag in run.estimate.flags}


def test_a_cycle_with_readings_left_out_does_not_count() -> None:
    run = examined("shunt")
    rows = np.array([reading[1:] for reading in run.readings]).T
    keep = np.ones(rows.shape[1], dtype=bool)
    keep[230:240] = False
    whole, _ = _again(run.recipe, rows, np.flatnonzero(keep))
    assert whole == 8
    t, I, V = rows
    paused = analyse_by(run.recipe, t, I, V, [350])[0].examined
    assert paused is not None
    assert paused.cycles == 8


def _again(recipe: Recipe, rows: np.ndarray, numbers: np.ndarray) -> tuple[int, float]:
    t, I, V = rows[:, numbers]
    found, _ = analyse_by(recipe, t, I, V, [], numbers=numbers)
    assert found.examined is not None
    return found.examined.cycles, found.resistance_ohm


def test_through_json_and_back() -> None:
    found = examined("cable_drum").estimate.examined
    told = examined_object(found)
    assert told is not None
    again = examined_from(told)
    assert again is not None
    assert again.effects[0] == found.effects[0]  # type: ignore[union-attr]
    assert examined_object(again) == told


@pytest.mark.parametrize("name", ["shunt", "cable_drum", "warm_shunt"])
def test_many_cycles_are_looked_at_as_means_of_several_and_say_the_same(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = examined(name, cycles=60)
    whole = run.estimate.examined
    monkeypatch.setattr("benchapp.analysis.examined.merged.MOST_CYCLES", 20)
    t, I, V = np.array([reading[1:] for reading in run.readings]).T
    found, _ = analyse_by(run.recipe, t, I, V, [])
    assert whole is not None
    assert found.examined is not None
    assert found.examined.cycles == 60
    assert found.resistance_ohm == pytest.approx(whole.resistance_ohm, abs=whole.half_width_ohm / 2)
    assert found.expanded_uncertainty_ohm == pytest.approx(whole.half_width_ohm, rel=0.35)
    assert [one.found for one in found.examined.effects] == [one.found for one in whole.effects]
    for one, other in zip(found.examined.effects, whole.effects, strict=True):
        if other.found and np.isfinite(other.tau_s):
            assert one.tau_s == pytest.approx(other.tau_s, rel=0.05)


def test_a_live_look_at_a_long_run_costs_what_one_at_a_short_run_does() -> None:
    cycle, rng = Cycle(), np.random.default_rng(1)
    recipe = Recipe(1.0, examine=True, stop=StopRule(None, cycles=400), nplc=0.02)
    n = 400 * cycle.readings
    I = np.array([cycle.part(k) for k in range(n)])
    t = np.arange(n, dtype=float) * 1e-3
    V = np.asarray(1e-3 * I + 1e-8 * rng.standard_normal(n), dtype=np.float64)
    found, _ = analyse_by(recipe, t, I, V, [], live=True)
    assert found.readings <= 128 * cycle.readings  # what the traps looked at
    assert found.examined is not None
    assert found.examined.cycles == 400
    assert abs(found.resistance_ohm - 1e-3) <= found.expanded_uncertainty_ohm
