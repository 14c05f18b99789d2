"""Thermal EMFs of junctions at different temperatures: the air's cycle with each junction's lag, and hands."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.world.air import above_start_K
from sim.world.config import Ambient, Junction, Touch


class JunctionSet:
    """All junctions of the sense leads in series."""

    def __init__(self, ambient: Ambient, junctions: Sequence[Junction], touches: Sequence[Touch]) -> None:
        self._ambient, self._junctions, self._touches = ambient, tuple(junctions), tuple(touches)

    def mean_V(self, start_s: float, end_s: float) -> float:
        """Mean over [start, end] by Simpson's rule: everything here is slow against an aperture."""
        if not self._junctions:
            return 0.0
        middle = (start_s + end_s) / 2
        return (self._emf_V(start_s) + 4 * self._emf_V(middle) + self._emf_V(end_s)) / 6

    def temperature_K(self, index: int, time_s: float) -> float:
        """Of one junction, above the air's temperature at the start."""
        junction, ambient = self._junctions[index], self._ambient
        value = junction.above_air_K + above_start_K(ambient, junction.lag_s, time_s)
        return value + sum(_warmth_K(touch, time_s) for touch in self._touches if touch.junction == index)

    def _emf_V(self, time_s: float) -> float:
        return sum(
            junction.seebeck_V_per_K * self.temperature_K(index, time_s)
            for index, junction in enumerate(self._junctions)
        )


def _warmth_K(touch: Touch, time_s: float) -> float:
    """Towards the hand's warmth while it touches, and back afterwards."""
    since = time_s - touch.time_s
    if since <= 0:
        return 0.0
    taken = touch.warmth_K * -math.expm1(-min(since, touch.duration_s) / touch.time_constant_s)
    return taken * math.exp(-max(0.0, since - touch.duration_s) / touch.time_constant_s)
