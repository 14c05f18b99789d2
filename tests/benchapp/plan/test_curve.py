"""What a recipe gives after any time, against the same question asked one by one and against measured runs."""

import math
from dataclasses import replace

import numpy as np
import pytest

from benchapp.analysis.noise import Noise
from benchapp.plan.curve import after, curve, curves
from benchapp.plan.optimum import Wish, plan
from benchapp.recipe import Recipe
from benchapp.recipe_values import Channel
from benchapp.result.budget import BudgetPlan

_RECIPE = Recipe(1.0, nominal_ohm=1e-3, range_V=0.01)
_WISH = Wish(1e-3, 1e-8, Noise(1e-17), BudgetPlan(None), 10.0, 5.0)


def test_it_falls_as_white_noise_does() -> None:
    found = curve(_WISH, _RECIPE)
    assert found is not None
    assert np.all(np.diff(found.U_ohm) <= 0)
    late = found.time_s > 100
    slopes = np.diff(np.log(found.U_ohm[late])) / np.diff(np.log(found.time_s[late]))
    assert slopes == pytest.approx(-0.5, abs=0.02)  # standard deviation of a mean, GUM 4.2.3


def test_time_and_uncertainty_are_each_others_inverse() -> None:
    found = curve(_WISH, _RECIPE)
    assert found is not None
    for time_s in (20.0, 77.0, 900.0):
        assert found.time_for(found.U_at(time_s)) == pytest.approx(time_s, rel=1e-6)
        assert after(_WISH, _RECIPE, time_s).median_U_ohm == pytest.approx(found.U_at(time_s), rel=0.05)
    assert found.time_for(0.5 * float(found.U_ohm[-1])) == math.inf
    assert found.time_for(2 * float(found.U_ohm[0])) == found.time_s[0]


def test_other_currents_are_those_that_are_permitted() -> None:
    assert [one.current_A for one in curves(_WISH, _RECIPE)] == pytest.approx([1.0, 1 / 3, 3.0])
    assert [one.current_A for one in curves(replace(_WISH, most_current_A=2.0), _RECIPE)] == pytest.approx([1.0, 1 / 3])
    assert len(curves(replace(_WISH, most_power_W=2e-3), _RECIPE)) == 2
    part = replace(_RECIPE, channels=(Channel("A", "1"), Channel("B", "2")))
    assert curves(_WISH, part) == []


def test_a_plan_reaches_its_target_where_the_curve_does() -> None:
    best = plan(_WISH).proposals[0]
    found = curve(_WISH, best.recipe)
    assert found is not None
    assert found.U_at(best.time_s) == pytest.approx(best.median_U_ohm, rel=0.03)
    assert found.time_for(_WISH.target_ohm) <= best.time_s  # nine of ten runs reach it by then, half of them sooner
