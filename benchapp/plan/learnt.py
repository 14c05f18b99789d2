"""What a recorded run tells of its bench: noise, pace, settling, the wandering of its EMF."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.columns import readings_of
from benchapp.analysis.examined.cycle import LEAST_CYCLES
from benchapp.analysis.examined.examine import examine
from benchapp.analysis.exponential import decay, fit_exponential
from benchapp.analysis.levels import level_groups, since_change
from benchapp.analysis.noise import LEAST_READINGS, Noise, fit_noise
from benchapp.analysis.traps.run_data import robust_deviation
from benchapp.errors import Fault, InputError
from benchapp.plan.weights import Pace
from benchapp.recipe import Recipe

Floats = NDArray[np.float64]


_LEAST_PLACES = 4  # readings of a dwell, to see a time constant
_FOUND = 4.5
_OUT = 6.0
_MOSTLY = 0.8


@dataclass(frozen=True, slots=True)
class Settling:
    """What is missing of each change of the current at its very moment, as part of it, and how it comes."""

    missing: float
    tau_s: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """`noise` is that at the voltage of the run: it holds the source's own there."""

    noise: Noise
    pace: Pace
    resistance_ohm: float
    emf_V: float
    emf_slope_V_per_s: float
    readings: int
    settling: Settling | None = None


def learn(recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats, where: str) -> Learnt:
    """From the readings of a run by its recipe; `where` names it in messages. Raises InputError."""
    if len(time_s) < LEAST_READINGS:
        problem = f"{len(time_s)} readings do not tell the noise"
        remedy = f"Take a run of {LEAST_READINGS} readings or more, better 20 s"
        raise InputError(Fault(problem, "", remedy, field=where))
    changed = level_groups(current_A).changed
    settling, R, rest = _signal(recipe, time_s, current_A, voltage_V)
    drift = np.polynomial.polynomial.polyfit(time_s - time_s[0], voltage_V - R * current_A, 1)
    step_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    noise = fit_noise(_bridged(rest), step_s, recipe.aperture_s)
    pace = _pace(recipe, time_s, changed)
    return Learnt(noise, pace, R, float(drift[0]), float(drift[1]), len(time_s), settling)


def without_signal(recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats) -> Floats:
    """What is left of the voltages when R, offset and settling are taken away: EMF and noise."""
    return _bridged(_signal(recipe, time_s, current_A, voltage_V)[2])


def _signal(
    recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats
) -> tuple[Settling | None, float, Floats]:
    groups = level_groups(current_A)
    since = since_change(groups.changed)
    own = _by_its_own_fit(recipe, time_s, current_A, voltage_V) if recipe.examine else None
    if own is not None:
        settling, R, rest = own
    else:
        settling, R = _settling(recipe, time_s, current_A, voltage_V, since)
        rest = _without_means(groups.group, since, voltage_V)
    return settling, R, rest


def _bridged(rest: Floats) -> Floats:
    """Single readings that stand far out (a hand, a switch, what came a little late) as their neighbours."""
    n = len(rest)
    beside = rest - np.interp(np.arange(n), np.arange(n)[::2], rest[::2])
    deviation = robust_deviation(beside[1::2]) / math.sqrt(1.5)
    middle = np.array([np.median(rest[max(0, k - 3) : k + 4]) for k in range(n)])
    good = np.abs(rest - middle) <= _OUT * deviation
    if deviation <= 0 or good.mean() < _MOSTLY:
        return rest
    found: Floats = np.interp(np.arange(n), np.flatnonzero(good), rest[good])
    return found


def _without_means(level: NDArray[np.intp], since: NDArray[np.intp], voltage_V: Floats) -> Floats:
    """Without the mean by level, by the level before and by the place after the change: R, an offset and what settles
    go away with it.
    """
    first = np.arange(len(since)) - since
    before = np.where(first > 0, level[np.maximum(first - 1, 0)], -1)
    _, kind = np.unique(np.stack([level, before, since]), axis=1, return_inverse=True)
    kind = kind.reshape(-1)
    count = np.bincount(kind)
    rest: Floats = voltage_V - (np.bincount(kind, voltage_V) / count)[kind]
    # What was alone of its kind tells nothing; each mean has taken a part of the noise.
    freedom = len(rest) - len(count)
    return rest * math.sqrt(len(rest) / max(1, freedom))


def _by_its_own_fit(
    recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats
) -> tuple[Settling | None, float, Floats] | None:
    """The same of an examined run, whose fit knows more; None where it has too few cycles."""
    whole = readings_of(np.array([time_s, current_A, voltage_V]), recipe.cycle, recipe.aperture_s)
    if whole is None or len(whole.time_s) < LEAST_CYCLES:
        return None
    found, clean_V = examine(whole)
    R, effect = found.resistance_ohm, found.effect("settling")
    settling = None
    if effect.found and found.followed:
        settling = Settling(-effect.size_ohm / R * math.exp(recipe.settle_s / effect.tau_s), effect.tau_s)
    return settling, R, (clean_V - R * whole.current_A).reshape(-1)


def _settling(
    recipe: Recipe, time_s: Floats, current_A: Floats, voltage_V: Floats, since: NDArray[np.intp]
) -> tuple[Settling | None, float]:
    """R, and how the voltage settles, folded on the time since the last change; None where nothing is seen."""
    largest = float(np.abs(current_A).max())
    full = np.abs(current_A) > 0.9 * largest
    starts = np.flatnonzero(since == 0)
    place = np.arange(len(since)) - since
    came_from = np.where(place > 0, current_A[np.maximum(place - 1, 0)], 0.0)
    usual = full & (place > 0) & (np.abs(came_from) > 0.9 * largest)
    dwell = int(np.median(np.diff(starts))) if len(starts) > 2 else 1
    R = _R(current_A, voltage_V)
    if dwell < _LEAST_PLACES or usual.sum() < 8 * dwell:
        return None, R
    # Half the difference between the signs at each place: the EMF falls out, what settles stays.
    t, y, u = [], [], []
    for k in range(dwell):
        here = usual & (since == k)
        plus, minus = voltage_V[here & (current_A > 0)], voltage_V[here & (current_A < 0)]
        if min(len(plus), len(minus)) < 3:
            return None, R
        began = time_s[place[here]]
        t.append(float(np.mean(time_s[here] - began)) + recipe.settle_s)
        y.append(float(plus.mean() - minus.mean()) / (2 * largest))
        u.append(_scatter(plus, minus) / (2 * largest))
    times, values = np.array(t), np.array(y)
    step_s = float(np.median(np.diff(times)))

    def columns(tau_s: float) -> Floats:
        # Of many dwells, each leaves its own behind: a change of +2 I is followed by one of -2 I, and so on.
        before = 1 / (1 + math.exp(-(times[-1] + step_s) / tau_s))
        return np.column_stack([np.ones(dwell), decay(times, tau_s, recipe.aperture_s) * 2 * before])

    found = fit_exponential(columns, values, step_s / 4, dwell * step_s)
    missing = -found.coefficients[1] / found.coefficients[0]
    u_missing = max((found.high[1] - found.low[1]) / 4, float(np.mean(u)) / math.sqrt(dwell)) / abs(values[-1])
    seen = abs(values[0] - values[-1]) > _FOUND * math.hypot(u[0], u[-1])
    if not seen or abs(missing) < 2 * u_missing:
        return None, R
    return Settling(float(missing), found.tau), float(found.coefficients[0])


def _scatter(plus: Floats, minus: Floats) -> float:
    """Standard deviation of the difference of two means, from neighbours, so that a drift does not count."""
    of_each = [float(np.mean(np.diff(some) ** 2)) / (2 * len(some)) for some in (plus, minus)]
    return math.sqrt(sum(of_each))


def _R(current_A: Floats, voltage_V: Floats) -> float:
    I = current_A - current_A.mean()
    return float(I @ voltage_V / (I @ I))


def _pace(recipe: Recipe, time_s: Floats, changed: NDArray[np.bool_]) -> Pace:
    """Of the instruments, from the usual steps in time with and without a change of the current."""
    steps = np.diff(time_s) - recipe.aperture_s
    still = float(np.median(steps[~changed])) if (~changed).sum() > 5 else Pace().reading_s
    moved = float(np.median(steps[changed])) - recipe.settle_s if changed.any() else still + Pace().change_s
    still = min(max(0.0, still), max(0.0, moved))
    return Pace(max(0.0, moved - still), still)
