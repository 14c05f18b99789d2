"""What zero current tells: EMF, drift, noise, hum, and whether the line frequency is right."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.noise import Noise, thermal_V2_per_Hz
from benchapp.check.finding import Finding, State, outcome
from benchapp.check.trace import Series, Trace
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan

Floats = NDArray[np.float64]
_NOISE = 1.95
_DRIFT = 5.0
_HUM = 14.0
_LINE = 15.0
_EMF_OF_RANGE = 0.1
_MAINS_HZ = (50.0, 60.0)


def zero_emf(trace: Trace, recipe: Recipe) -> Finding:
    """Whether it takes up the range."""
    name, (_, _, V), range_V = "EMF at zero current", _zero(trace), recipe.range_V
    if not len(V):
        return Finding(name, State.WAITS)
    emf = float(V.mean())
    most = math.inf if range_V is None else _EMF_OF_RANGE * range_V
    return outcome(
        name,
        fails=abs(emf) > most,
        figure=engineering(emf, "V", 3),
        limit="" if range_V is None else f"{engineering(most, 'V', 3)}, a tenth of the range",
        where="sense leads",
        remedy="Look for a warm junction, or unlike metals in the sense leads",
        code="outlier",
    )


def drift(trace: Trace, known: BudgetPlan) -> Finding:
    """Whether the EMF is still on its way, as after hands on a terminal."""
    name, (t, s, V) = "drift of the EMF", _zero(trace)
    if len(t) < 8:
        return Finding(name, State.WAITS)
    weight = 1 / s**2
    x = t - float(weight @ t) / float(weight.sum())
    slope = float((weight * x) @ V) / float((weight * x) @ x)
    gain = weight * x / float(weight @ x**2)
    variance = 1 / float(weight @ x**2) + float(gain @ _flicker(known).covariance(t, trace.zero.aperture_s) @ gain)
    most = _DRIFT * math.sqrt(variance)
    return outcome(
        name,
        fails=abs(slope) > most,
        figure=f"{engineering(slope, 'V', 3)} a second",
        limit=f"{engineering(most, 'V', 2)} a second",
        where="sense leads",
        remedy="Wait until hands and draughts are gone; reversal takes away what is even",
    )


def _zero(trace: Trace) -> tuple[Floats, Floats, Floats]:
    """Readings at zero current with their standard deviations, at one cycle and at five."""
    parts = []
    for series in (trace.zero, trace.slow, trace.zero_again):
        t, _, V = series.columns
        if len(t):
            parts.append((t, np.full(len(t), max(_white(trace.zero), 1e-15) * math.sqrt(
                trace.zero.aperture_s / series.aperture_s)), V))  # fmt: skip
    if not parts:
        return np.empty(0), np.empty(0), np.empty(0)
    t, s, V = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    return t, s, V


def _white(series: Series) -> float:
    """Standard deviation of one reading, from second differences, so that neither offset nor drift counts."""
    V = np.array(series.voltage_V)
    return math.sqrt(float(np.mean(np.diff(V, 2) ** 2)) / 6) if len(V) > 3 else math.nan


def noise(trace: Trace, known: BudgetPlan) -> Finding:
    """Against what the accuracy data says of this voltmeter."""
    name, s, card = "noise", _white(trace.zero), known.card
    if math.isnan(s):
        return Finding(name, State.WAITS)
    figure = f"{engineering(s, 'V', 3)} a reading"
    spec = None if card is None or card.voltmeter is None else card.voltmeter.noise_per_rt_Hz
    if card is None or spec is None:
        return Finding(name, State.NOT_TESTED, f"{figure}; the accuracy data says no noise_nV_per_rt_Hz")
    thermal = thermal_V2_per_Hz(card.circuit.sense_leads_ohm)
    corner_Hz = 0.0 if card.voltmeter is None else card.voltmeter.flicker_corner_Hz
    most = _NOISE * _expected(Noise(spec**2 + thermal, spec**2 * corner_Hz), trace.zero)
    return outcome(
        name,
        fails=s > most,
        figure=figure,
        limit=f"{engineering(most, 'V', 3)}, {_NOISE:g} times the accuracy data",
        where="sense leads",
        remedy="Clean and tighten the sense contacts; twist the leads",
        code="mains-pickup",
    )


def _flicker(known: BudgetPlan) -> Noise:
    """The 1/f part of the accuracy data; none where it tells none."""
    spec = None if known.card is None else known.card.voltmeter
    if spec is None or spec.noise_per_rt_Hz is None:
        return Noise(0.0)
    return Noise(0.0, spec.noise_per_rt_Hz**2 * spec.flicker_corner_Hz)


def _expected(noise: Noise, series: Series) -> float:
    """What `_white` finds of such noise: second differences pass a part of 1/f noise, too."""
    t = np.array(series.time_s[:3])
    w = np.array([1.0, -2.0, 1.0])
    return math.sqrt(float(w @ noise.covariance(t, series.aperture_s) @ w) / 6)


def hum(trace: Trace, recipe: Recipe) -> Finding:
    """A line at the mains' frequency in readings that are short against its period."""
    name, (t, _, V) = "hum", trace.fast.columns
    if len(t) < 12:
        return Finding(name, State.WAITS)
    found = {line_Hz: _sine(t, V, line_Hz) for line_Hz in {recipe.line_frequency_Hz, *_MAINS_HZ}}
    line_Hz = max(found, key=lambda key: found[key][0])
    F, size_V = found[line_Hz]
    return outcome(
        name,
        fails=F > _HUM,
        figure=f"{engineering(size_V, 'V', 2)} at {line_Hz:g} Hz, F = {F:.3g}",
        limit=f"F = {_HUM:g}",
        where="sense leads",
        remedy="Twist and shield the sense leads; move away from transformers; read over whole line cycles",
    )


def _sine(t: Floats, V: Floats, line_Hz: float) -> tuple[float, float]:
    """How clearly (F) and how large (V) a sine of that frequency is."""
    phase = 2 * math.pi * line_Hz * (t - t[0])
    base = np.column_stack([np.ones(len(t)), t - t.mean()])
    whole = np.column_stack([base, np.sin(phase), np.cos(phase)])
    before, after = _rest(base, V), _rest(whole, V)
    b = np.linalg.lstsq(whole, V, rcond=None)[0]
    F = (before - after) / 2 / (after / (len(t) - 4)) if after > 0 else 0.0
    return F, math.hypot(float(b[2]), float(b[3]))


def line(trace: Trace, recipe: Recipe) -> Finding:
    """Whether one cycle of the frequency that was set is one of the mains: else its readings beat, or the hum has
    another frequency.
    """
    name, one, five, (t, _, V) = "line frequency", trace.zero, trace.slow, trace.fast.columns
    if len(five.time_s) < 6 or len(t) < 12:
        return Finding(name, State.WAITS)
    ratio = _white(one) ** 2 * one.aperture_s / max(_white(five) ** 2 * five.aperture_s, 1e-300)
    at_set = _sine(t, V, recipe.line_frequency_Hz)[0]
    other_Hz = max(_MAINS_HZ, key=lambda line_Hz: _sine(t, V, line_Hz)[0])
    other = _sine(t, V, other_Hz)[0]
    elsewhere = other > _HUM and other > 2 * at_set
    figure = f"noise of one cycle over that of five: {ratio:.2g}"
    return outcome(
        name,
        fails=ratio > _LINE or elsewhere,
        figure=f"{figure}; the hum has {other_Hz:g} Hz" if elsewhere else figure,
        limit=f"{_LINE:g}",
        where="voltmeter",
        remedy="Set the line frequency of this place (--line-frequency)",
        code="mains-pickup",
    )


def _rest(X: Floats, y: Floats) -> float:
    b = np.linalg.lstsq(X, y, rcond=None)[0]
    rest = y - X @ b
    return float(rest @ rest)
