"""A run ends on the U that is stated, and says at once where no run could reach its target."""

import math
from dataclasses import replace

import pytest

from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.analysis.student import coverage_factor
from benchapp.events import EndReason
from benchapp.measure.stop_rules import StopWatch
from benchapp.recipe import StopRule
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard, InstrumentSpec, RangeAccuracy
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

CARD = InstrumentCard(
    InstrumentSpec((RangeAccuracy(0.01, 0.0, 0.0),)), InstrumentSpec((RangeAccuracy(10.0, 100.0, 0.0),))
)
R = 1e-3
FLOOR = R * 100e-6 / math.sqrt(3) * 1.959964  # 100 ppm of the current


def _running(half_width: float) -> RunningBlocks:
    running = RunningBlocks()
    s = half_width * math.sqrt(20) / coverage_factor(19)
    for k in range(20):
        running.moments.push(float(k), R + s * math.sqrt(19 / 20) * (-1) ** k)
    return running


def test_the_stated_U_is_looked_at_and_not_repeatability_alone() -> None:
    known = BudgetPlan(CARD, range_V=0.01, source_range_A=10.0)
    watch = StopWatch(StopRule(None, until_ohm=1.05 * FLOOR), 1.0, known)
    assert watch.at_block(_running(0.9 * FLOOR)) == ""
    text = watch.at_block(_running(0.05 * FLOOR))
    assert text.startswith("target uncertainty reached: U = ")
    alone = StopWatch(StopRule(None, until_ohm=1.05 * FLOOR), 1.0, BudgetPlan())
    assert alone.at_block(_running(0.9 * FLOOR))


@pytest.mark.parametrize(
    "rule", [StopRule(None, until_ohm=0.9 * FLOOR), StopRule(None, until_relative=0.9 * FLOOR / R)]
)
def test_a_target_below_the_floor_is_told(rule: StopRule) -> None:
    known = BudgetPlan(CARD, range_V=0.01, source_range_A=10.0)
    assert "cannot be reached" in StopWatch(rule, 1.0, known).unreachable(R)
    assert StopWatch(replace(rule, until_ohm=None, until_relative=1.0), 1.0, known).unreachable(R) == ""
    assert StopWatch(StopRule(30), 1.0, known).unreachable(R) == ""


def test_the_reported_U_is_the_one_that_it_stopped_on() -> None:
    rehearsal = Rehearsal(load_scenario("shunt"))
    end = rehearsal.run(recipe_of(rehearsal.scenario, stop=StopRule(None, until_ohm=6e-9)))
    assert end.reason is EndReason.RULE
    assert rehearsal.statement().expanded_uncertainty_ohm <= 6e-9
