import math

import pytest

from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.analysis.student import coverage_factor
from benchapp.measure.progress import expected_blocks, time_to_go_s
from benchapp.recipe import Recipe, StopRule
from benchapp.recipe_values import Channel

NOTHING = RunningBlocks()


def _twenty() -> RunningBlocks:
    """Twenty blocks with a half-width of 2 microohm."""
    running = RunningBlocks()
    deviation = 2e-6 * math.sqrt(20) / coverage_factor(19)
    for k in range(20):
        running.moments.push(float(k), 1e-3 + deviation * math.sqrt(19 / 20) * (-1) ** k)
    return running


TWENTY = _twenty()


@pytest.mark.parametrize(
    ("rule", "blocks"),
    [
        (StopRule(30), 30),
        (StopRule(None, duration_s=100.0), 200),
        (StopRule(None, until_ohm=1.0001e-6), 80),  # half the width takes four times the blocks
        (StopRule(None, until_ohm=1e-3), 20),
        (StopRule(None, until_relative=1.0001e-3), 80),
        (StopRule(None), None),
    ],
)
def test_expected_end(rule: StopRule, blocks: int | None) -> None:
    assert expected_blocks(Recipe(1.0, stop=rule), TWENTY, 10.0, 60) == blocks
    if blocks is not None:
        assert time_to_go_s(blocks, 20, 10.0) == pytest.approx((blocks - 20) * 0.5)


def test_too_little_is_known_at_the_start() -> None:
    assert expected_blocks(Recipe(1.0, stop=StopRule(None, duration_s=5.0)), NOTHING, 0.0, 0) is None
    assert math.isnan(time_to_go_s(None, 0, 0.0))


def test_parts_in_rounds_have_as_many_readings_as_turns() -> None:
    parts = Channel("S", "1"), Channel("X", "2")
    recipe = Recipe(1.0, channels=parts, stop=StopRule(None, rounds=5), turn_readings=24, standard_ohm=1e-3)
    assert recipe.turns == 11
    assert expected_blocks(recipe, TWENTY, 10.0, 66) == 80  # a quarter of 264 readings is taken
