"""When a run has enough."""

from __future__ import annotations

import math

from benchapp.analysis.running_blocks import RunningBlocks
from benchapp.quantity import engineering
from benchapp.recipe import StopRule
from benchapp.result.budget import BudgetPlan, least_uncertainty, whole_uncertainty

# An interval from fewer blocks is small by luck now and then: a rule that stops on it covers the truth too rarely.
MIN_BLOCKS_FOR_UNCERTAINTY = 10


class StopWatch:
    """Why a run ends; looks at the U that is stated: repeatability of consecutive blocks with all that is known."""

    def __init__(self, rule: StopRule, current_A: float, known: BudgetPlan) -> None:
        self._rule, self._current_A, self._known = rule, current_A, known

    def at_block(self, running: RunningBlocks) -> str:
        """Why the run ends with the block that has just closed; empty where it goes on."""
        if self._rule.blocks is not None and running.count >= self._rule.blocks:
            return f"{running.count} blocks taken"
        if not self._rule.has_target or running.count < MIN_BLOCKS_FOR_UNCERTAINTY:
            return ""
        R = running.moments.mean
        target = self._rule.target_ohm(R)
        if not running.half_width() <= target:  # repeatability alone is too wide still
            return ""
        u = running.moments.standard_uncertainty
        U = u
        if u > 0:
            U = whole_uncertainty(R, u, running.count - 1, self._current_A, self._known).budget.expanded_uncertainty
        return f"target uncertainty reached: U = {engineering(U, 'ohm', 3)}" if target >= U else ""

    def at_reading(self, readings: int, a_cycle: int) -> str:
        """Why the run ends after so many readings; of an examined run, in whole cycles."""
        cycles = self._rule.cycles
        if cycles is not None and readings >= cycles * a_cycle:
            return f"{cycles} cycles taken"
        return ""

    def at_time(self, time_s: float) -> str:
        """Why the run ends with the reading at `time_s`; empty where it goes on."""
        if self._rule.duration_s is not None and time_s >= self._rule.duration_s:
            return f"{engineering(self._rule.duration_s, 's', 3)} have passed"
        return ""

    def unreachable(self, resistance_ohm: float) -> str:
        """Why no run can reach the target, however long; empty where one may."""
        target = self._rule.target_ohm(resistance_ohm)
        if math.isnan(target) or not math.isfinite(resistance_ohm):
            return ""
        floor = least_uncertainty(resistance_ohm, self._current_A, self._known)
        if floor < target:
            return ""
        return (
            f"the target uncertainty of {engineering(target, 'ohm', 3)} cannot be reached: without any scatter the"
            f" accuracy data and the temperature alone give U = {engineering(floor, 'ohm', 3)}. Widen the target, or"
            " use better instruments"
        )
