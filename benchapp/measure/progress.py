"""How far a run is: how many blocks its stop rule will take, and how long that is from now."""

from __future__ import annotations

import math

from benchapp.analysis.estimate import Estimate
from benchapp.measure.stop_rules import MIN_BLOCKS_FOR_UNCERTAINTY
from benchapp.recipe import StopRule


def expected_blocks(rule: StopRule, estimate: Estimate, time_s: float) -> int | None:
    """Blocks at the end, as far as can be seen now; None where there is no end, or too little is known."""
    n = estimate.blocks
    if rule.blocks is not None:
        return rule.blocks
    if rule.duration_s is not None and n and time_s > 0:
        return max(n, round(n * rule.duration_s / time_s))
    if rule.until_ohm is not None and n >= 2 and math.isfinite(estimate.repeatability_95_ohm):
        # The half-width falls with the root of the number of blocks.
        needed = n * (estimate.repeatability_95_ohm / rule.until_ohm) ** 2
        return max(n, MIN_BLOCKS_FOR_UNCERTAINTY, math.ceil(min(needed, 1e9)))
    return None


def time_to_go_s(expected: int | None, estimate: Estimate, time_s: float) -> float:
    """Seconds until the expected end at the present pace; NaN where it is not known."""
    if expected is None or not estimate.blocks:
        return math.nan
    return (expected - estimate.blocks) * time_s / estimate.blocks
