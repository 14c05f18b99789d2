import math
from dataclasses import replace

import pytest

from benchapp.analysis.estimate import RunningEstimate
from benchapp.measure.progress import expected_blocks, time_to_go_s
from benchapp.recipe import StopRule

NOTHING = RunningEstimate().estimate()
TWENTY = replace(NOTHING, blocks=20, repeatability_95_ohm=2e-6)


@pytest.mark.parametrize(
    ("rule", "blocks"),
    [
        (StopRule(30), 30),
        (StopRule(None, duration_s=100.0), 200),
        (StopRule(None, until_ohm=1e-6), 80),  # half the width takes four times the blocks
        (StopRule(None, until_ohm=1e-3), 20),
        (StopRule(None), None),
    ],
)
def test_expected_end(rule: StopRule, blocks: int | None) -> None:
    assert expected_blocks(rule, TWENTY, 10.0) == blocks
    if blocks is not None:
        assert time_to_go_s(blocks, TWENTY, 10.0) == pytest.approx((blocks - 20) * 0.5)


def test_too_little_is_known_at_the_start() -> None:
    assert expected_blocks(StopRule(None, duration_s=5.0), NOTHING, 0.0) is None
    assert math.isnan(time_to_go_s(None, NOTHING, 0.0))
