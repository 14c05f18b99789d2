"""How R follows the temperature: its coefficient, and the lag of the part behind the thermometer.

R = a + b (T_lag - T) + c exp(-t / lag), where T_lag is the raw reading of the thermometer behind by the lag: the last
term is what the part was out of step at the start. The lag is profiled; what is left slowly sets the scale. Noise of
the thermometer makes b too small, by the part that it has in the variance of T_lag, and that is divided out; where it
is a large part, the study says that it cannot tell.
"""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.exponential import Exponential, fit_exponential
from benchapp.quantity import engineering, ppm
from benchapp.study.conclusion import Conclusion, Figure, Floats, StudyRun

_GROUPS = 80
_FIRST_COSINE, _LAST_COSINE = 3, 10
_MOST_NOISE = 0.02  # of the variance of the temperature
_LEAST_SWING_K = 0.1


def temperature(runs: list[StudyRun], blocks: list[Floats], reference_C: float = 20.0) -> Conclusion:
    """From one run with a thermometer; `blocks` (4, n) of it, time_s first and R in ohm second."""
    run, (t, R) = runs[0], blocks[0][:2]
    size = max(1, len(t) // _GROUPS)
    count = len(t) // size * size
    every = t[:count]
    t, R = (values[:count].reshape(-1, size).mean(axis=1) for values in (t, R))
    s, T = run.temperatures
    if len(s) < 12 or len(t) < 24 or float(np.ptp(T)) < _LEAST_SWING_K:
        text = (
            f"The temperature moved by {float(np.ptp(T)) if len(T) else 0.0:.2g} K in {len(s)} readings: too little to"
            " tell a coefficient. Let it go up and down by a kelvin or more."
        )
        return Conclusion("temperature", (), text, tells=False)
    step_s = float(np.median(np.diff(s)))
    noise_K2 = float(np.mean(np.diff(T, 2) ** 2)) / 6
    middle = float(T.mean())

    def columns(lag_s: float, shift_s: float = 0.0) -> Floats:
        x = np.interp(every, s + shift_s, lagged(s, T - middle, lag_s))
        columns = np.column_stack([np.ones(count), x, np.exp(-(every - every[0]) / lag_s)])
        mean: Floats = columns.reshape(len(t), size, 3).mean(axis=1)
        return mean

    span_s = float(t[-1] - t[0])

    def fitted(shift_s: float) -> Exponential:
        def shifted(lag_s: float) -> Floats:
            return columns(lag_s, shift_s)

        first = fit_exponential(shifted, R, step_s / 4, span_s / 4)
        scale = slow_square(R - shifted(first.tau) @ first.coefficients)
        freedom = _LAST_COSINE - _FIRST_COSINE + 1
        return fit_exponential(shifted, R, step_s / 4, span_s / 4, scale_squared=scale, scale_freedom=freedom)

    fit = fitted(0.0)
    # When between two of its readings the thermometer looked is not known: the intervals hold both ends.
    early, late = fitted(-step_s / 2), fitted(step_s / 2)
    x = columns(fit.tau)[:, 1]
    # Of a first-order lag of independent readings: a part step / (2 lag + step) of their variance stays.
    of_noise = noise_K2 * step_s / (2 * fit.tau + step_s) / float(x.var())
    truth = 1 - of_noise
    a, b = fit.coefficients[0], fit.coefficients[1] / truth
    R_reference = float(a + b * (reference_C - middle))
    alpha = Figure(
        f"coefficient at {reference_C:g} degC", float(b / R_reference),
        float(min(one.low[1] for one in (early, fit, late)) / truth / R_reference),
        float(max(one.high[1] for one in (early, fit, late)) / truth / R_reference), "1/K",
    )  # fmt: skip
    lag = Figure(
        "lag",
        fit.tau,
        min(one.tau_low for one in (early, fit, late)),
        max(one.tau_high for one in (early, fit, late)),
        "s",
    )
    picture = (T, np.interp(s, t, R), float(a) + float(b) * (T - middle))
    if of_noise > _MOST_NOISE:
        text = (
            f"The thermometer's noise makes {of_noise:.0%} of what it shows to move: the coefficient cannot be told to"
            " better than that. Let the temperature move more, or read it with less noise."
        )
        return Conclusion("temperature", (alpha, lag), text, tells=False, picture=picture)
    text = (
        f"R changes by {ppm(alpha.value, 1.0)} a kelvin at {reference_C:g} degC"
        + (f", {engineering(fit.tau, 's', 2)} behind the thermometer" if lag.low > 0 and lag.high < math.inf else "")
        + "."
    )
    changes = {
        "temperature_coefficient": f"{alpha.value:.4g} / K",
        "reference_temperature": f"{reference_C:g} degC",
    }
    if math.isfinite(lag.high):
        changes["temperature_lag"] = f"{fit.tau:.2g} s"
    return Conclusion("temperature", (alpha, lag), text, changes, picture=picture)


def lagged(time_s: Floats, values: Floats, lag_s: float) -> Floats:
    """A first-order lag of a series that goes in straight lines between its values, in step at the start."""
    found = np.empty(len(values))
    found[0] = values[0]
    for k in range(1, len(values)):
        step = float(time_s[k] - time_s[k - 1])
        left = math.exp(-step / lag_s)
        slope = (values[k] - values[k - 1]) / step
        # dx/dt = (T - x) / lag with T = T0 + slope t.
        found[k] = values[k] - slope * lag_s + (found[k - 1] - values[k - 1] + slope * lag_s) * left
    return found


def slow_square(rest: Floats) -> float:
    """Mean square of the low cosines of a series, those above what the fit itself follows: of white noise its
    variance.
    """
    from scipy.fft import dct

    n = len(rest)
    coefficients = dct(rest, type=2)[_FIRST_COSINE : _LAST_COSINE + 1] / math.sqrt(2 * n)
    return float(np.mean(coefficients**2))
