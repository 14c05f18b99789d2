"""When a run has enough."""

from __future__ import annotations

from benchapp.analysis.estimate import RunningEstimate
from benchapp.quantity import engineering
from benchapp.recipe import StopRule

# An interval from fewer blocks is small by luck now and then: a rule that stops on it covers the truth too rarely.
MIN_BLOCKS_FOR_UNCERTAINTY = 10


def reached_at_block(rule: StopRule, running: RunningEstimate) -> str:
    """Why the run ends with the block that has just closed; empty where it goes on."""
    if rule.blocks is not None and running.block_count >= rule.blocks:
        return f"{running.block_count} blocks taken"
    if rule.until_ohm is not None and running.block_count >= MIN_BLOCKS_FOR_UNCERTAINTY:
        half_width = running.repeatability_95()
        if half_width <= rule.until_ohm:
            return f"95 % interval of ± {engineering(half_width, 'ohm', 3)} reached"
    return ""


def reached_at_time(rule: StopRule, time_s: float) -> str:
    """Why the run ends with the reading at `time_s`; empty where it goes on."""
    if rule.duration_s is not None and time_s >= rule.duration_s:
        return f"{engineering(rule.duration_s, 's', 3)} have passed"
    return ""
