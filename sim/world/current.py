"""The current in the circuit over time, for whoever measures it beside the voltmeter, in whatever order."""

from __future__ import annotations

import math
from bisect import insort

import numpy as np

_KEPT_STEPS = 64
_KEPT_WINDOWS = 8


class CurrentTrace:
    """Steps that settle to first order; the mean of any stretch of the last steps."""

    def __init__(self, time_constant_s: float) -> None:
        self._tau_s = time_constant_s
        self._steps: list[tuple[float, float]] = []  # time, current that it goes to
        self._first_A = 0.0

    def add(self, time_s: float, current_A: float) -> None:
        """From `time_s` on the current goes to `current_A`."""
        insort(self._steps, (time_s, current_A), key=lambda step: step[0])
        if len(self._steps) > _KEPT_STEPS:
            self._first_A = self._steps.pop(0)[1]

    def mean_A(self, start_s: float, end_s: float) -> float:
        """Mean of the current over [start, end]."""
        before_A = to_A = self._first_A  # it had settled long before
        charge, step_s = 0.0, -math.inf
        for time_s, current_A in [*self._steps, (math.inf, 0.0)]:
            left, right = max(start_s, step_s), min(end_s, time_s)
            if right > left:
                charge += self._charge(before_A, to_A, left - step_s, right - step_s)
            before_A = self._at(before_A, to_A, time_s - step_s)
            step_s, to_A = time_s, current_A
        return charge / (end_s - start_s)

    def _at(self, before_A: float, to_A: float, since_s: float) -> float:
        if self._tau_s == 0 or math.isinf(since_s):
            return to_A
        return to_A + (before_A - to_A) * math.exp(-since_s / self._tau_s)

    def _charge(self, before_A: float, to_A: float, since_s: float, until_s: float) -> float:
        if self._tau_s == 0 or math.isinf(since_s) or before_A == to_A:
            return to_A * (until_s - since_s) if math.isfinite(until_s - since_s) else 0.0
        settled = math.exp(-since_s / self._tau_s) - math.exp(-until_s / self._tau_s)
        return to_A * (until_s - since_s) + (before_A - to_A) * self._tau_s * settled


class SourceNoise:
    """White noise of the current: the same for whoever looks at the same time, as far as the apertures overlap."""

    def __init__(self, density_A_per_rt_Hz: float, rng: np.random.Generator) -> None:
        self._density, self._rng = density_A_per_rt_Hz, rng
        self._windows: list[tuple[float, float, float]] = []

    def mean_A(self, start_s: float, end_s: float) -> float:
        """Mean of the noise over an aperture T, whose bandwidth is 1/(2T)."""
        if not self._density:
            return 0.0
        duration_s = end_s - start_s
        fresh_A = self._density / math.sqrt(2 * duration_s) * self._rng.standard_normal()
        shared, common_A = 0.0, 0.0
        for first_s, last_s, noise_A in self._windows:
            part = max(0.0, min(end_s, last_s) - max(start_s, first_s)) / duration_s
            if part > shared:
                shared, common_A = min(1.0, part), noise_A
        noise_A = shared * common_A + math.sqrt(1 - shared**2) * fresh_A
        self._windows = [*self._windows[1 - _KEPT_WINDOWS :], (start_s, end_s, noise_A)]
        return noise_A
