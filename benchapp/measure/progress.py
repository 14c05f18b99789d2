"""How far a run is: how many blocks its stop rule will take, and how long that is from now."""

from __future__ import annotations

import math

from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.measure.stop_rules import MIN_BLOCKS_FOR_UNCERTAINTY
from benchapp.recipe import Recipe


def expected_blocks(recipe: Recipe, running: RunningBlocks, time_s: float, readings: int) -> int | None:
    """Blocks at the end, as far as can be seen now; None where there is no end, or too little is known."""
    n, rule = running.count, recipe.stop
    if rule.blocks is not None:
        return rule.blocks
    if rule.duration_s is not None and n and time_s > 0:
        return max(n, round(n * rule.duration_s / time_s))
    if rule.rounds is not None and n:
        return max(n, round(n * recipe.turns * recipe.readings_a_turn / readings))
    if rule.cycles is not None and n:
        return max(n, round(n * rule.cycles * recipe.cycle.readings / readings))
    half_width = running.half_width() if rule.has_target else math.nan
    if rule.has_target and math.isfinite(half_width):
        # The half-width falls with the root of the number of blocks.
        needed = n * (half_width / rule.target_ohm(running.moments.mean)) ** 2
        return max(n, MIN_BLOCKS_FOR_UNCERTAINTY, math.ceil(min(needed, 1e9)))
    return None


def time_to_go_s(expected: int | None, blocks: int, time_s: float) -> float:
    """Seconds until the expected end at the present pace; NaN where it is not known."""
    if expected is None or not blocks:
        return math.nan
    return (expected - blocks) * time_s / blocks
