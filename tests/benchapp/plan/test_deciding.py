"""What would decide, against the run that goes on."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from benchapp.analysis.decision import Verdict
from benchapp.bench.limits import HouseLimits
from benchapp.plan.deciding import would_decide
from benchapp.recipe import StopRule
from benchapp.result.decision import decide
from benchapp.result.statement import Statement
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of


def run(seed: int, blocks: int) -> tuple[Rehearsal, Statement]:
    scenario = load_scenario("shunt")
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario, stop=StopRule(blocks)))
    return rehearsal, rehearsal.statement()


def undecided(stated: Statement, away_in_U: float) -> Statement:
    """The same with an upper limit as near as that."""
    high = stated.resistance_ohm + away_in_U * stated.expanded_uncertainty_ohm
    from benchapp.result.decision import DecisionRule

    found = decide(
        stated.resistance_ohm,
        stated.standard_uncertainty_ohm,
        stated.expanded_uncertainty_ohm,
        stated.degrees_of_freedom,
        DecisionRule(high_ohm=high),
        validity=stated.validity,
        scope=stated.scope,
    )
    return replace(stated, decision=found)


def test_half_the_uncertainty_takes_four_times_as_long() -> None:
    rehearsal, stated = run(3, 40)
    near = undecided(stated, 0.5)
    assert near.decision is not None
    assert near.decision.verdict is Verdict.UNDECIDED
    recipe = rehearsal.recipe
    found = would_decide(near, recipe, 10.0, HouseLimits())
    assert found is not None
    assert found.U_ohm == pytest.approx(0.5 * stated.expanded_uncertainty_ohm)
    assert found.time_to_go_s == pytest.approx(30.0)
    assert found.block == pytest.approx(4 * stated.estimate.blocks, abs=1)


def test_a_larger_current_takes_less_time_and_stays_within_the_limits() -> None:
    rehearsal, stated = run(3, 40)
    near = undecided(stated, 0.5)
    recipe = replace(rehearsal.recipe, current_A=1.0)
    found = would_decide(near, recipe, 10.0, HouseLimits())
    assert found is not None
    assert found.current_A == 2.0
    assert found.time_there_s == pytest.approx(40.0 / 4)
    bounded = would_decide(near, recipe, 10.0, HouseLimits(current_A=1.5))
    assert bounded is not None
    assert math.isnan(bounded.current_A)


def test_where_accuracy_does_not_suffice_no_time_does() -> None:
    rehearsal, stated = run(3, 40)
    near = undecided(stated, 0.5)
    assert near.budget is not None
    rows = tuple(replace(row, standard_uncertainty=0.1 * row.standard_uncertainty) for row in near.budget.contributions)
    near = replace(near, budget=replace(near.budget, contributions=rows))
    found = would_decide(near, rehearsal.recipe, 10.0, HouseLimits())
    assert found is not None
    assert math.isinf(found.time_to_go_s)
    assert found.floor_ohm > found.U_ohm


def test_what_is_decided_needs_nothing() -> None:
    rehearsal, stated = run(3, 40)
    assert would_decide(undecided(stated, 3.0), rehearsal.recipe, 10.0, HouseLimits()) is None


@pytest.mark.parametrize("seed", range(3))
def test_the_time_told_is_about_the_time_taken(seed: int) -> None:
    rehearsal, stated = run(seed, 40)
    near = undecided(stated, 0.5)
    time_s = rehearsal.last.time_s
    found = would_decide(near, rehearsal.recipe, time_s, HouseLimits())
    assert found is not None
    longer, later = run(seed, found.block)
    assert later.expanded_uncertainty_ohm == pytest.approx(found.U_ohm, rel=0.45)
    assert longer.last.time_s == pytest.approx(time_s + found.time_to_go_s, rel=0.1)
