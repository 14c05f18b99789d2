"""What an examined run found: R at the working current, at zero power beside it, and each systematic effect.

What is stated is fixed before the run. An effect that costs nothing is in the fit always (settling of the first
readings of a dwell, a part that does not change its sign); what would cost uncertainty is tested, told with its
interval, and in the value only where it was found.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.columns import (
    Readings,
    late_column,
    position_columns,
    resistance_columns,
    settling_columns,
    warmth,
)
from benchapp.analysis.examined.cycle import LONGEST_DWELL
from benchapp.analysis.examined.fit import Fit, Term
from benchapp.analysis.examined.merged import merged
from benchapp.analysis.examined.third_level import Cause, hull, third_level
from benchapp.analysis.examined.whitening import Whitener

Floats = NDArray[np.float64]
_FOUND = 3.3  # standard uncertainties: one false alarm in a thousand
_LEVELS_DIFFER = 2.81  # one in two hundred
_WARMS = 12.0  # of the log likelihood ratio, with a time constant that was looked for
_SEEN = 2.23  # of a half-width: from this size on an effect is found in 95 % of runs
_TAUS = 24


@dataclass(frozen=True, slots=True)
class Effect:
    """One systematic effect: whether it was found, its size in ohm with its 95 % half-width, and from which size on it
    would have been found. `tau_s` is its time constant, NaN where it has none.
    """

    name: str
    found: bool
    size_ohm: float
    half_width_ohm: float
    seen_above_ohm: float
    tau_s: float = math.nan


@dataclass(frozen=True, slots=True)
class Examined:
    """R at the working current with its 95 % half-width, R at zero power with its own, in ohm; the effects; `followed`
    is False where something settles in a way that no fit here follows, and then neither value is to be believed.
    """

    resistance_ohm: float
    half_width_ohm: float
    zero_power_ohm: float
    zero_power_half_width_ohm: float
    effects: tuple[Effect, ...]
    followed: bool
    cycles: int
    longest_tau_s: float  # that settling can have and be followed

    def effect(self, name: str) -> Effect:
        """One of them by its name."""
        return next(effect for effect in self.effects if effect.name == name)


@dataclass(slots=True)
class _Model:
    """The columns that count so far, and how they are fitted."""

    readings: Readings
    whitener: Whitener
    columns: dict[str, Floats]

    def fit(self, columns: dict[str, Floats] | None = None) -> Fit:
        """Under the walk that is likeliest with these columns."""
        chosen = self.columns if columns is None else columns
        scale = self.readings.working_A
        stacked = np.stack([column / scale for column in chosen.values()], axis=2)
        walk = self.whitener.likeliest(stacked, self.readings.voltage_V)
        return Fit(self.whitener, walk, chosen, self.readings.voltage_V)

    def beside(self, fit: Fit, columns: dict[str, Floats]) -> Fit:
        """Other columns under the walk of a fit."""
        return Fit(self.whitener, fit.walk, columns, self.readings.voltage_V)

    def best_tau(
        self, fit: Fit, columns: Callable[[float], dict[str, Floats]], shortest_s: float, longest_s: float
    ) -> float:
        """The time constant under which the columns leave least, under the walk of a fit."""
        return _least(lambda tau_s: self.beside(fit, columns(tau_s)).rest_squared, shortest_s, longest_s)


def examine(readings: Readings) -> tuple[Examined, Floats]:
    """Fit and judge; and the voltages (cycles, n) as they would be without the effects: R times I, the EMF and noise.

    `readings` are whole cycles, LEAST_CYCLES at least for an interval that holds; of many the means of several are
    looked at, so that a long run costs no more.
    """
    r, group = merged(readings)
    whitener = Whitener(np.median(r.time_s - r.time_s[:, :1], axis=0))
    plain = resistance_columns(r)
    model = _Model(r, whitener, {**plain, **position_columns(r)})
    fit = model.fit()
    longest_s = LONGEST_DWELL / 2 * float(np.median(np.diff(r.time_s, axis=1)))
    settling, followed = _settling(model, fit, plain, longest_s)
    fit = model.fit()
    level, zero = fit.term(**{"R": 1.0, "R half": -1.0}), _zero_power(fit)
    third = third_level(r, fit, model.columns, model.beside) if "R quarter" in plain else None
    if third is not None and third.cause is Cause.SIGN:
        # R is that beside the EMF, at every current; whether it follows the power with a lag is asked beside it.
        model.columns = third.columns
        fit = model.fit()
        zero = fit.term(R=1.0)
    warming, warm = _warming(model, fit, plain)
    value = fit.term(R=1.0)
    if warm is not None:
        # Between the two currents R changes by three quarters of what goes with the power.
        value, zero, level = warm.value, warm.zero, warm.fit.term(cubic=0.75)
    explained_V = fit.explained_V() if warm is None else warm.fit.explained_V()
    even = fit.term(even=1.0)
    even_found = abs(even.z) > _FOUND
    differs = abs(level.value) > _LEVELS_DIFFER / 1.96 * level.half_width
    stated, half = value.value, value.half_width
    following: tuple[Effect, ...] = ()
    if third is not None:
        named = third.cause is Cause.SIGN
        emf = fit.term(following=1.0) if named else third.emf
        following = (_effect("following", emf, found=named),)
        differs = (differs or third.cause is Cause.UNCLEAR) and not named
        if third.cause is Cause.UNCLEAR and warm is None:
            stated, half = hull(value, third.beside_emf)
    if even_found:
        # Either polarity may be the right one: the truth lies at an edge, so that the two add up.
        half = abs(even.value) + math.hypot(half, even.half_width)
    zero_half = zero.half_width + (abs(even.value) if even_found else 0.0)
    effects = (
        settling,
        warming,
        _effect("even", even, found=even_found),
        _effect("level", level, found=differs),
        *following,
    )
    found = Examined(stated, half, zero.value, zero_half, effects, followed, len(readings.time_s), longest_s)
    return found, readings.voltage_V - explained_V[group] + value.value * readings.current_A


def _effect(name: str, term: Term, *, found: bool, tau_s: float = math.nan) -> Effect:
    return Effect(name, found, term.value, term.half_width, _SEEN * term.half_width, tau_s)


def _zero_power(fit: Fit) -> Term:
    """R at no current, where R goes with the power."""
    return fit.term(**{"R": -1 / 3, "R half": 4 / 3})


def _settling(model: _Model, fit: Fit, plain: dict[str, Floats], longest_s: float) -> tuple[Effect, bool]:
    """Whether the voltage settles within the dwells; where it does with one time constant, the model follows it."""
    r = model.readings
    first = fit.term(**{"position 0": 1.0})
    late = model.beside(fit, {**model.columns, "late": late_column(r)}).term(late=1.0)
    if abs(first.z) <= _FOUND and abs(late.z) <= _FOUND:
        return _effect("settling", late, found=False), True

    def columns(tau_s: float) -> dict[str, Floats]:
        return {**plain, **settling_columns(r, tau_s)}

    shortest_s = r.aperture_s / 4
    tau_s = shortest_s
    for walked in (fit, None):  # the walk of a model that does not follow is not that of one that does
        tau_s = model.best_tau(walked or model.fit(columns(tau_s)), columns, shortest_s, 4 * longest_s)
    followed = model.fit(columns(tau_s))
    amplitude = followed.term(settling=1.0)
    chosen = columns(tau_s)
    step = 0.02
    below, above = (settling_columns(r, tau_s * math.exp(d)) for d in (-step, step))
    # What another time constant would change, so that not knowing it counts.
    weights = {name: followed.term(**{name: 1.0}).value / (amplitude.value or 1.0) for name in below}
    chosen["settling time"] = sum(weights[name] * (above[name] - below[name]) / (2 * step) for name in below)  # type: ignore[assignment]
    tested = model.beside(followed, {**chosen, "position 0": position_columns(r)["position 0"]})
    again = tested.term(**{"position 0": 1.0})
    good = tau_s <= longest_s and abs(amplitude.z) > _FOUND and abs(again.z) <= _FOUND
    if good:
        model.columns = chosen
    return _effect("settling", amplitude, found=True, tau_s=tau_s), good


@dataclass(frozen=True, slots=True)
class _Warm:
    """R at the mean warmth of the working readings and at none, and the fit that they are of."""

    value: Term
    zero: Term
    fit: Fit


def _warming(model: _Model, fit: Fit, plain: dict[str, Floats]) -> tuple[Effect, _Warm | None]:
    """Whether R follows the power with a time constant of its own; the value at the mean warmth of the working
    readings and that at none, where it does.
    """
    r = model.readings
    others = {name: column for name, column in model.columns.items() if name not in plain or name == "even"}
    ratio = r.current_A / r.working_A
    base = {"R0": r.current_A, "cubic": r.current_A * ratio**2, **others}

    def columns(tau_s: float) -> dict[str, Floats]:
        warm, left = warmth(r, tau_s)
        return {**base, "warm": r.current_A * warm, "left": r.current_A * left}

    span_s = float(r.time_s[-1, -1] - r.time_s[0, 0])
    tau_s = model.best_tau(fit, columns, 5 * r.aperture_s, span_s)
    walked = model.fit(columns(tau_s))
    tau_s = model.best_tau(walked, columns, 5 * r.aperture_s, span_s)
    cold, warm = model.beside(walked, base), model.beside(walked, columns(tau_s))
    gain = cold.readings * math.log(cold.rest_squared / warm.rest_squared)
    size = warm.term(warm=1.0)
    if not (gain > _WARMS and abs(size.z) > _FOUND):
        return _effect("warming", size, found=False), None
    step = 0.05
    chosen = columns(tau_s)
    below, above = (warmth(r, tau_s * math.exp(d))[0] for d in (-step, step))
    chosen["warming time"] = r.current_A * (above - below) / (2 * step)
    final = model.beside(warm, chosen)
    warm_now, left = warmth(r, tau_s)
    mean = {"R0": 1.0, "cubic": 1.0, "warm": float(warm_now[r.working].mean()), "left": float(left[r.working].mean())}
    size = final.term(warm=1.0)
    effect = _effect("warming", size, found=True, tau_s=tau_s)
    return effect, _Warm(final.term(**mean), final.term(R0=1.0), final)


def _least(cost: Callable[[float], float], low: float, high: float) -> float:
    """Where a cost is least between two positive numbers: on a grid, then between the neighbours of its best."""
    from scipy.optimize import minimize_scalar

    grid = np.geomspace(low, high, _TAUS)
    best = int(np.argmin([cost(float(x)) for x in grid]))
    bounds = math.log(grid[max(0, best - 1)]), math.log(grid[min(_TAUS - 1, best + 1)])
    found = minimize_scalar(lambda x: cost(math.exp(x)), bounds=bounds, method="bounded", options={"xatol": 1e-4})
    return math.exp(float(found.x))
