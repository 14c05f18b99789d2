"""What a recorded run tells of its bench: noise, pace, settling, the wandering of its EMF."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.levels import level_groups
from benchapp.analysis.noise import LEAST_READINGS, Noise, fit_noise
from benchapp.errors import Fault, InputError
from benchapp.plan.weights import Pace
from benchapp.recipe import Recipe

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Learnt:
    """`noise` is that at the voltage of the run: it holds the source's own there."""

    noise: Noise
    pace: Pace
    resistance_ohm: float
    emf_V: float
    emf_slope_V_per_s: float
    readings: int


def learn(recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats, where: str) -> Learnt:
    """From the readings of a run by its recipe; `where` names it in messages. Raises InputError."""
    if len(time_s) < LEAST_READINGS:
        problem = f"{len(time_s)} readings do not tell the noise"
        remedy = f"Take a run of {LEAST_READINGS} readings or more, better 20 s"
        raise InputError(Fault(problem, "", remedy, field=where))
    groups = level_groups(current_A)
    rest = voltage_V.copy()
    since = _since_change(groups.changed)
    # A reading's mean by level and by its place after the change: R, an offset and what settles go away with it.
    for level in range(len(groups.levels_A)):
        at_level = groups.group == level
        for place in range(int(since[at_level].max(initial=0)) + 1):
            here = at_level & (since == place)
            if here.any():
                rest[here] -= rest[here].mean()
    drift = np.polynomial.polynomial.polyfit(time_s - time_s[0], voltage_V - _R(current_A, voltage_V) * current_A, 1)
    step_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    noise = fit_noise(rest, step_s, recipe.aperture_s)
    R = _R(current_A, voltage_V)
    return Learnt(noise, _pace(recipe, time_s, groups.changed), R, float(drift[0]), float(drift[1]), len(time_s))


def _R(current_A: Floats, voltage_V: Floats) -> float:
    I = current_A - current_A.mean()
    return float(I @ voltage_V / (I @ I))


def _since_change(changed: NDArray[np.bool_]) -> NDArray[np.intp]:
    place = np.arange(len(changed) + 1)
    last = np.where(np.concatenate([[True], changed]), place, 0)
    return place - np.maximum.accumulate(last)


def _pace(recipe: Recipe, time_s: Floats, changed: NDArray[np.bool_]) -> Pace:
    """Of the instruments, from the usual steps in time with and without a change of the current."""
    steps = np.diff(time_s) - recipe.aperture_s
    still = float(np.median(steps[~changed])) if (~changed).sum() > 5 else Pace().reading_s
    moved = float(np.median(steps[changed])) - recipe.settle_s if changed.any() else still + Pace().change_s
    still = min(max(0.0, still), max(0.0, moved))
    return Pace(max(0.0, moved - still), still)
