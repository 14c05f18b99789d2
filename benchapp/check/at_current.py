"""What the trial current tells: whether a voltage follows it, with which sign and size, and whether it has settled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.levels import since_change
from benchapp.check.finding import Finding, State, outcome
from benchapp.check.trace import Series, Trace
from benchapp.quantity import engineering, ppm
from benchapp.recipe import Recipe

Floats = NDArray[np.float64]
_NO_SIGNAL = 0.2
_SCALE_DECADES = 2.5
_NOMINAL = (0.5, 2.0)
_SETTLING = 4.5
_FIRST_TOO_LARGE = 30.0


def first_is_too_large(first: Series, nominal_ohm: float | None) -> bool:
    """Whether the first step, far below the trial current, shows many times the voltage that the nominal R makes."""
    if nominal_ohm is None:
        return False
    R, u = slope(first)
    return abs(R) > _FIRST_TOO_LARGE * nominal_ohm and abs(R) > 6 * u


def slope(series: Series) -> tuple[float, float]:
    """R beside a straight EMF, without the first reading after each change, and its standard uncertainty."""
    t, I, V = series.columns
    since = since_change(np.diff(I) != 0)
    keep = since > 0 if (since > 0).sum() >= 8 else np.ones(len(t), dtype=bool)
    t, I, V = t[keep], I[keep], V[keep]
    X = np.column_stack([I, np.ones(len(t)), t - t.mean()])
    scale = np.abs(X).max(axis=0)
    scale[scale == 0] = 1.0
    b, _, rank, _ = np.linalg.lstsq(X / scale, V, rcond=None)
    if rank < 3 or len(t) < 5:
        return math.nan, math.inf
    rest = V - X / scale @ b
    variance = float(rest @ rest) / (len(t) - 3)
    inverse = np.linalg.inv((X / scale).T @ (X / scale))
    return float(b[0] / scale[0]), math.sqrt(variance * float(inverse[0, 0])) / float(scale[0])


def signal(trace: Trace, recipe: Recipe, R: float, u: float, tells: bool) -> tuple[Finding, list[Finding]]:
    """Whether there is a voltage in proportion to the current, and what hangs on it: sign, scale, nominal value."""
    waiting = [Finding(name, State.WAITS) for name in ("sense pair", "scale", "nominal value")]
    problem = _no_signal(trace, recipe, R, u, tells)
    if problem is not None:
        return problem, waiting
    seen = Finding("signal", State.OK, f"R = {engineering(R, 'ohm', 3)} ± {engineering(2 * u, 'ohm', 1)}")
    pair = outcome(
        "sense pair",
        fails=R < 0,
        figure="exchanged" if R < 0 else "as the source's",
        where="source leads or sense leads",
        remedy="Exchange the two sense leads",
        code="sense-reversed",
    )
    nominal = recipe.nominal_ohm
    if nominal is None:
        unknown = [Finding(name, State.NOT_TESTED, "no nominal resistance") for name in ("scale", "nominal value")]
        return seen, [pair, *unknown]
    ratio = abs(R) / nominal
    figure = f"{ratio:.3g} of the nominal value"
    wrong_scale = abs(math.log10(ratio)) > _SCALE_DECADES
    scale = outcome(
        "scale",
        fails=wrong_scale,
        figure=figure,
        limit="within a factor of 300",
        where="source",
        remedy="Correct the scale in the source's dialect",
        code="open-lead",
    )
    value = outcome(
        "nominal value",
        fails=not _NOMINAL[0] <= ratio <= _NOMINAL[1],
        figure=figure,
        limit=f"{_NOMINAL[0]:g} to {_NOMINAL[1]:g}",
        where="source leads or sense leads",
        remedy="Take the sense leads inside the source leads; or correct the nominal value",
        code="estimates-differ",
    )
    return seen, [pair, scale, Finding("nominal value", State.WAITS) if wrong_scale else value]


def _no_signal(trace: Trace, recipe: Recipe, R: float, u: float, tells: bool) -> Finding | None:
    """The first reason why there is no voltage to be judged."""
    name, nominal = "signal", recipe.nominal_ohm
    if trace.stopped:
        remedy = "Correct the scale in the source's dialect, or the nominal resistance"
        return outcome(name, fails=True, figure=trace.stopped, where="source", remedy=remedy, code="open-lead")
    if trace.limited:
        remedy, figure = "Close the source leads; look for a poor contact", "the source is at its compliance"
        return outcome(name, fails=True, figure=figure, where="source leads", remedy=remedy, code="compliance")
    if trace.overload or math.isnan(R):
        remedy, figure = "Connect the sense leads, or choose a higher range", "the voltmeter is outside its range"
        return outcome(name, fails=True, figure=figure, where="sense leads", remedy=remedy, code="overload")
    least = 4 * u if nominal is None else max(_NO_SIGNAL * nominal, 4 * u)
    if abs(R) >= least:
        return None
    where = "sense leads" if tells else "source leads or sense leads"
    return outcome(
        name,
        fails=True,
        figure=f"R = {engineering(R, 'ohm', 3)} ± {engineering(2 * u, 'ohm', 1)}",
        limit=f"above {engineering(least, 'ohm', 2)}",
        where=where,
        remedy=f"Connect the {where}; or check at a larger part of the current, such as 10 %",
        code="open-lead",
    )


def settling(trace: Trace) -> Finding:
    """Whether the first reading after each change differs, in proportion to the change."""
    t, I, V = trace.dwells.columns
    change = np.diff(I, prepend=0.0)
    first = np.where(since_change(np.diff(I) != 0) == 0, change, 0.0) / 2
    X = np.column_stack([I, first, np.ones(len(t)), t - t.mean()])
    scale = np.abs(X).max(axis=0)
    scale[scale == 0] = 1.0
    b = np.linalg.lstsq(X / scale, V, rcond=None)[0]
    rest = V - X / scale @ b
    variance = float(rest @ rest) / max(1, len(t) - 4)
    u = math.sqrt(variance * float(np.linalg.pinv((X / scale).T @ (X / scale))[1, 1]))
    voltage_V = abs(float(b[0])) or math.inf
    return outcome(
        "settling",
        fails=abs(float(b[1])) > _SETTLING * u,
        figure=f"{ppm(float(b[1]), voltage_V)} missing at first, coarse at so little current",
        limit=ppm(_SETTLING * u, voltage_V),
        where="the circuit",
        remedy="Lengthen the delay, or examine the run",
        code="not-settled",
    )
