"""Each sign is held before the run: what still moves there is told before it looks like resistance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from benchapp.events import EventKind
from benchapp.measure.holding import Held, hold_signs, still_moving
from benchapp.recipe import StopRule
from sim.scenario import Scenario, load_scenario, scenario_names
from tests.benchapp.simulated import Rehearsal, recipe_of

SHUNT = load_scenario("shunt")
SLOW = ("cable_drum", "soaking_insulation")


def held(high: Sequence[float] | np.ndarray, low: Sequence[float] | np.ndarray) -> list[Held]:
    return [Held(1.0, tuple(map(float, high))), Held(-1.0, tuple(map(float, low)))]


def noise(seed: int, count: int = 8) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((2, count)) * 1e-6


def test_noise_alone_is_never_told_and_a_drift_of_the_emf_neither() -> None:
    drift = 1e-4 * np.arange(8)
    told = 0
    for seed in range(2000):
        a, b = noise(seed)
        told += bool(still_moving(held(1e-2 + a, -1e-2 + b)))
        told += bool(still_moving(held(1e-2 + a + drift, -1e-2 + b + drift)))
    assert told <= 4  # of 4,000 at 0.0001


@pytest.mark.parametrize(("tau", "part"), [(0.5, 0.01), (1.0, 0.003), (2.0, 0.01)])
def test_what_settles_within_the_hold_is_told(tau: float, part: float) -> None:
    a, b = noise(1)
    rest = part * np.exp(-np.arange(8) / tau)
    text = still_moving(held(1e-2 * (1 - rest) + a, -1e-2 * (1 - rest) + b))
    assert text.startswith(("the first reading after a reversal lay", "the voltage still moved"))


def test_an_output_that_slews_all_the_while_is_told() -> None:
    a, b = noise(2)
    ramp = np.linspace(0.1, 0.9, 8)
    assert "while held" in still_moving(held(1e-2 * ramp + a, -1e-2 * ramp + b))


def test_no_voltage_and_an_overload_are_the_runs_own_business() -> None:
    assert still_moving(held([0.0] * 8, [0.0] * 8)) == ""
    assert still_moving(held([9.9e37] * 8, [1.0] * 8)) == ""
    assert still_moving([]) == ""


@pytest.mark.parametrize(("aperture_s", "count"), [(0.0002, 8), (0.1, 8), (0.15, 7), (0.2, 5), (1.0, 5), (1.1, 0)])
def test_how_long_it_is_held(aperture_s: float, count: int) -> None:
    steps: list[float] = []
    found = hold_signs((1.0, -1.0), aperture_s, steps.append, lambda level_A: (level_A, level_A))
    assert [len(one.voltages_V) for one in found] == ([count, count] if count else [])
    assert steps == ([1.0, -1.0] if count else [])


@pytest.mark.parametrize("name", [name for name in scenario_names() if name not in SLOW])
def test_no_bench_is_told_without_reason(name: str) -> None:
    scenario = load_scenario(name)
    for seed in range(3):
        rehearsal = Rehearsal(scenario, seed)
        rehearsal.run(recipe_of(scenario, stop=StopRule(2)))
        assert not [event.text for event in rehearsal.events if event.kind is EventKind.UNSETTLED]


@pytest.mark.parametrize("scenario", [*(load_scenario(name) for name in SLOW)], ids=SLOW)
@pytest.mark.parametrize("signs", ["+-", "++--", "+0-0"])
def test_what_settles_slowly_is_not_valid_in_any_sequence(scenario: Scenario, signs: str) -> None:
    rehearsal = Rehearsal(scenario)
    rehearsal.run(recipe_of(scenario, signs=signs, stop=StopRule(20)))
    stated = rehearsal.statement()
    assert str(stated.validity) == "not-valid"
    assert "not-settled" in [reason.code for reason in stated.reasons]
    assert len([flag for flag in stated.flags if flag.code == "not-settled"]) == 1


def test_a_source_that_answers_too_soon_is_told() -> None:
    """It says "complete" at once, and its output takes 100 ms."""
    hasty = replace(SHUNT, source=replace(SHUNT.source, latency_s=0.1))
    rehearsal = Rehearsal(hasty)
    rehearsal.sim.source.wait_until_complete = lambda: None  # type: ignore[union-attr, method-assign]
    rehearsal.run(recipe_of(hasty, signs="+-"))
    stated = rehearsal.statement()
    assert str(stated.validity) == "not-valid"
    assert {"not-settled", "open-lead"} & {reason.code for reason in stated.reasons}
    assert [event.kind for event in rehearsal.events].count(EventKind.UNSETTLED) == 1


def test_a_current_that_is_measured_takes_the_sources_own_movement_out() -> None:
    currents = iter([0.9, 1.0, 1.1, 1.0, 1.0, -0.8, -1.0, -1.0, -1.0, -1.0])

    def read(level_A: float) -> tuple[float, float]:
        current_A = next(currents)
        return 1e-3 * current_A, current_A

    found = hold_signs((1.0, -1.0), 0.2, lambda _: None, read)
    assert [pytest.approx(1e-3 * one.level_A) for one in found for _ in one.voltages_V] == [
        V for one in found for V in one.voltages_V
    ]
    zero = hold_signs((1.0, 0.0), 0.2, lambda _: None, lambda level_A: (1e-6, level_A + 1e-9))
    assert zero[1].voltages_V == (1e-6,) * 5
