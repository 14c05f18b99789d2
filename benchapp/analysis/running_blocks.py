"""What a run itself needs of its readings: consecutive blocks, their mean and half-width, in constant work a reading.

Estimates, intervals and traps are another's work (`analyst`): a step of the run never waits for them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from benchapp.analysis.blocks import BlockFormer
from benchapp.analysis.running import Moments
from benchapp.analysis.student import coverage_factor

COVERAGE_PROBABILITY = 0.95
# SCPI-99 vol. 1, 7.2.1: 9.9E37 is infinity and 9.91E37 is not a number; no voltmeter reads 1E30 V.
OVERLOAD_V = 1e30


class ClosedBlock(NamedTuple):
    """A block with the result as it stood when it closed; NaN half-width below two blocks."""

    time_s: float
    resistance_ohm: float
    thermal_emf_V: float
    mean_ohm: float
    half_width_ohm: float
    readings: int
    sensitivity_per_A: float


class RunningBlocks:
    """Takes readings one by one."""

    def __init__(self, emf_order: int = 1, middle_A: float = 0.0) -> None:
        self.former = BlockFormer(emf_order, middle_A)
        self.moments = Moments()
        self._left_out = 0

    @property
    def count(self) -> int:
        """Closed blocks so far."""
        return self.moments.count

    @property
    def was_cut(self) -> bool:
        """Whether the last reading dropped an open block, because a gap in time stands before it."""
        return self._left_out != self.former.left_out

    def push(self, time_s: float, current_A: float, voltage_V: float) -> ClosedBlock | None:
        """Take one reading; return the block that it closes. An overload is in no block."""
        if not abs(voltage_V) < OVERLOAD_V:
            self.pause()
            return None
        self._left_out = self.former.left_out
        block = self.former.push(time_s, current_A, voltage_V)
        if block is None:
            return None
        self.moments.push(block.time_s, block.resistance_ohm)
        mean, half, n = self.moments.mean, self.half_width(), block.readings
        found = block.time_s, block.resistance_ohm, block.thermal_emf_V, mean, half, n, block.sensitivity_per_A
        return ClosedBlock(*found)

    def pause(self) -> None:
        """No block spans a pause."""
        self.former.break_block()

    def half_width(self, coverage_probability: float = COVERAGE_PROBABILITY) -> float:
        """Half-width in ohm from the scatter of consecutive blocks; NaN below two.

        This is what a stop rule looks at: stopping on the interval of sliding blocks would stop on luck.
        """
        if self.count < 2:
            return math.nan
        return self.moments.standard_uncertainty * coverage_factor(self.count - 1, coverage_probability)
