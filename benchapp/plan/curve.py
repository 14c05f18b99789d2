"""What a recipe would give after any time: its U, from the first readings to the floor that no time goes below."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchapp.plan.optimum import Proposal, Wish, known_at, proposal_of, step_s
from benchapp.recipe import Recipe
from benchapp.result.budget import Scope, least_uncertainty

Floats = NDArray[np.float64]
_POINTS = 48
_LEAST_READINGS = 16
_LONGEST_S = 3600.0
_DECADES = 3.0
_STEP = 3.0  # to the other currents


@dataclass(frozen=True, slots=True)
class Curve:
    """Expanded uncertainty in ohm against time in s at one current; `floor_ohm` is what no time goes below."""

    current_A: float
    time_s: Floats
    U_ohm: Floats
    floor_ohm: float
    scope: Scope

    def U_at(self, time_s: float) -> float:
        """Between the points, on straight lines of logarithms; the ends hold beyond them."""
        return float(np.exp(np.interp(math.log(time_s), np.log(self.time_s), np.log(self.U_ohm))))

    def time_for(self, U_ohm: float) -> float:
        """When U is that small; infinite where it never is in the times of the curve."""
        below = np.flatnonzero(self.U_ohm <= U_ohm)
        if not len(below):
            return math.inf
        if below[0] == 0:
            return float(self.time_s[0])
        pair = slice(int(below[0]) - 1, int(below[0]) + 1)
        u, t = np.log(self.U_ohm[pair])[::-1], np.log(self.time_s[pair])[::-1]
        return float(np.exp(np.interp(math.log(U_ohm), u, t)))


def curve(wish: Wish, recipe: Recipe) -> Curve | None:
    """Of a recipe as it stands, its end aside; None for parts on a scanner, and where no reading can be foreseen."""
    if recipe.channels:
        return None
    a_step = recipe.cycle.readings if recipe.examine else len(recipe.signs)
    pitch_s = step_s(recipe, wish.pace)
    least = max(2 * a_step if recipe.examine else a_step, _LEAST_READINGS)
    first_s = -(-least // a_step) * a_step * pitch_s
    last_s = max(_LONGEST_S, first_s * 10**_DECADES)
    counts = np.unique(np.round(np.geomspace(first_s, last_s, _POINTS) / pitch_s / a_step).astype(int)) * a_step
    counts = counts[counts >= least]
    found = [proposal_of(wish, recipe, int(count)) for count in counts]
    U = np.minimum.accumulate([one.median_U_ohm for one in found])
    known = known_at(wish, recipe.current_A, recipe.aperture_s)
    floor = least_uncertainty(wish.nominal_ohm, recipe.current_A, known)
    return Curve(recipe.current_A, np.array([one.time_s for one in found]), U, floor, found[-1].scope)


def curves(wish: Wish, recipe: Recipe) -> list[Curve]:
    """That of the recipe first; then at a third of its current, and at three times it where that is permitted."""
    currents = [recipe.current_A, recipe.current_A / _STEP]
    more = recipe.current_A * _STEP
    power = math.inf if wish.most_power_W is None else wish.most_power_W
    if more <= wish.most_current_A and more * more * wish.nominal_ohm <= power:
        currents.append(more)
    found = (curve(wish, replace(recipe, current_A=current_A)) for current_A in currents)
    return [one for one in found if one is not None]


def after(wish: Wish, recipe: Recipe, time_s: float) -> Proposal:
    """What the recipe would give after that time, with what limits there."""
    a_step = recipe.cycle.readings if recipe.examine else len(recipe.signs)
    count = max(1, round(time_s / step_s(recipe, wish.pace) / a_step)) * a_step
    return proposal_of(wish, recipe, max(count, 2 * a_step if recipe.examine else _LEAST_READINGS))
