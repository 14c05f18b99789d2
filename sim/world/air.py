"""The air about the bench, and what follows it slowly."""

from __future__ import annotations

import math

from sim.world.config import Ambient


def above_start_K(ambient: Ambient, lag_s: float, time_s: float) -> float:
    """How far something that follows the air with a first-order lag is above the air at the start; in step then."""
    value = 0.0
    if ambient.amplitude_K:
        # A first-order lag of a sine: smaller by cos(phi) and later by phi.
        omega = 2 * math.pi / ambient.period_s
        phase = math.atan(omega * lag_s)
        value += ambient.amplitude_K * math.cos(phase) * math.sin(omega * time_s - phase)
    if ambient.drift_K_per_s:
        lagging = time_s - lag_s * -math.expm1(-time_s / lag_s) if lag_s > 0 else time_s
        value += ambient.drift_K_per_s * lagging
    return value
