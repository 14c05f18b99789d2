"""What would decide: the uncertainty at which an undecided result would have a verdict, when, and at which current."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchapp.analysis.decision import Verdict, room
from benchapp.bench.limits import HouseLimits
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity

_STEPS = (1.0, 2.0, 3.0, 5.0)
_LONGEST_S = 30 * 86400.0


@dataclass(frozen=True, slots=True)
class WouldDecide:
    """`U_ohm` is the expanded uncertainty at which the verdict would fall if the mean stays.

    `time_to_go_s` is infinite where no time suffices, as what does not average down is larger: `floor_ohm` is the U
    that remains. `current_A` is a larger one that the limits allow, NaN without one, `time_there_s` how long a new run
    at it would take.
    """

    U_ohm: float
    time_to_go_s: float
    block: int
    floor_ohm: float
    current_A: float
    time_there_s: float


def would_decide(stated: Statement, recipe: Recipe, time_s: float, limits: HouseLimits) -> WouldDecide | None:
    """Of an undecided result that is valid so far, after `time_s` of measuring; None where there is nothing to decide.

    Scatter is taken to fall with the root of time, what else is in the budget to stay.
    """
    decision = stated.decision
    if decision is None or decision.verdict is not Verdict.UNDECIDED or stated.validity is not Validity.VALID:
        return None
    if decision.guard_band <= 0 or time_s <= 0:
        return None
    U = abs(room(stated.resistance_ohm, decision.low_ohm, decision.high_ohm)) / decision.guard_band
    k = stated.coverage_factor
    scatter = _scatter(stated)
    rest = math.sqrt(max(0.0, stated.standard_uncertainty_ohm**2 - scatter**2))
    wanted = (U / k) ** 2 - rest**2
    whole_s = time_s * scatter**2 / wanted if wanted > 0 else math.inf
    whole_s = whole_s if whole_s < _LONGEST_S else math.inf
    blocks = stated.estimate.blocks
    block = math.ceil(blocks * whole_s / time_s) if math.isfinite(whole_s) else 0
    current_A = _larger(stated, recipe, limits)
    there_s = whole_s * (recipe.current_A / current_A) ** 2 if math.isfinite(current_A) else math.nan
    return WouldDecide(U, max(0.0, whole_s - time_s), block, k * rest, current_A, there_s)


def _scatter(stated: Statement) -> float:
    """The part of u that falls with time."""
    rows = () if stated.budget is None else stated.budget.contributions
    found = [row.contribution for row in rows if row.name == "repeatability"]
    return found[0] if found else stated.standard_uncertainty_ohm


def _larger(stated: Statement, recipe: Recipe, limits: HouseLimits) -> float:
    """The next current of 1, 2, 3, 5 that is half as large again at least and within every limit; NaN without one."""
    least = 1.5 * recipe.current_A
    decade = 10.0 ** math.floor(math.log10(least))
    candidates = [factor * decade * scale for scale in (1.0, 10.0) for factor in _STEPS]
    largest = next((value for value in candidates if value >= least * (1 - 1e-9)), math.nan)
    R = abs(stated.resistance_ohm)
    allowed = largest <= limits.current_A and R * largest**2 <= limits.power_W
    in_range = recipe.range_V is None or R * largest <= recipe.range_V
    return largest if allowed and in_range and not recipe.preset else math.nan
