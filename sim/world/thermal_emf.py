"""The thermal EMF of the wiring, averaged over apertures that follow each other in time."""

from __future__ import annotations

import math

import numpy as np

from sim.world.config import ThermalEmf
from sim.world.junctions import JunctionSet


class EmfSource:
    """E(t) with its random walk, which is drawn as time goes on, and the junctions of the sense leads."""

    def __init__(self, config: ThermalEmf, rng: np.random.Generator, junctions: JunctionSet | None = None) -> None:
        self._config = config
        self._junctions = junctions
        self._rng = rng
        self._walk_V = 0.0
        self._time_s = 0.0

    def mean_V(self, start_s: float, end_s: float) -> float:
        """Mean over [start, end]; start must not lie before the end of the last call."""
        self._walk_to(start_s)
        c, h = self._config, end_s - start_s
        value = c.offset_V + c.drift_V_per_s * (start_s + end_s) / 2
        if c.decay_V:
            tau = c.decay_time_constant_s
            value += c.decay_V * tau / h * (math.exp(-start_s / tau) - math.exp(-end_s / tau))
        if self._junctions is not None:
            value += self._junctions.mean_V(start_s, end_s)
        before = self._walk_V
        self._walk_to(end_s)
        value += (before + self._walk_V) / 2
        if c.random_walk_V_per_rt_s:
            # The mean of a Brownian bridge has variance h/12 about the mean of its ends.
            value += c.random_walk_V_per_rt_s * math.sqrt(h / 12) * self._rng.standard_normal()
        return value

    def _walk_to(self, time_s: float) -> None:
        elapsed = time_s - self._time_s
        if elapsed <= 0:
            return
        if self._config.random_walk_V_per_rt_s:
            self._walk_V += self._config.random_walk_V_per_rt_s * math.sqrt(elapsed) * self._rng.standard_normal()
        self._time_s = time_s
