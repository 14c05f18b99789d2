"""How the voltage settles after a reversal: one run with long dwells, folded on the time since the change."""

from __future__ import annotations

import math

import numpy as np

from benchapp.analysis.exponential import decay, fit_exponential
from benchapp.analysis.levels import since_change
from benchapp.analysis.student import chi_square_quantile
from benchapp.quantity import engineering, ppm
from benchapp.study.conclusion import Conclusion, Figure, Floats, StudyRun

DWELL = 16
_LEFT = 1e-5  # of the step, after the delay that is proposed
_LEAST_DELAY_S = 0.005
_SURE = 0.9999


def settling(runs: list[StudyRun]) -> Conclusion:
    """From one run. A dwell is to be twice as long as the time constant: else it cannot be told."""
    run = runs[0]
    t, y, scatter = _folded(run)
    aperture_s, step_s = run.recipe.aperture_s, float(np.median(np.diff(t)))
    span_s = float(t[-1]) + step_s

    def columns(tau_s: float) -> Floats:
        before = 1 / (1 + math.exp(-span_s / tau_s))  # every dwell leaves its own behind
        return np.column_stack([np.ones(len(t)), decay(t, tau_s, aperture_s) * 2 * before])

    fit = fit_exponential(columns, y, step_s / 8, 2 * span_s)
    R, missing = fit.coefficients[0], -fit.coefficients[1]
    first = Figure("missing at the change", float(missing / R), float(-fit.high[1] / R), float(-fit.low[1] / R), "1")
    tau = Figure("time constant", fit.tau, fit.tau_low, fit.tau_high, "s")
    settled = Figure("R settled", float(R), float(fit.low[0]), float(fit.high[0]), "ohm")
    figures = (tau, settled, first)
    picture = (t, y, columns(fit.tau) @ fit.coefficients)
    if not first.is_seen:
        seen = max(abs(y[0] - float(np.mean(y[len(y) // 2 :]))), 2 * scatter)
        text = (
            f"Nothing is seen to settle; above {ppm(seen, float(R))} of R it would have been, in dwells of"
            f" {engineering(span_s, 's', 2)} from {engineering(float(t[0]), 's', 2)} on."
        )
        return Conclusion("settling", (settled,), text, picture=picture)
    if fit.tau > span_s / 2 or not math.isfinite(fit.tau_high):
        text = (
            f"It settles for longer than these dwells show ({engineering(span_s, 's', 2)}): the time constant cannot be"
            " told. Repeat with longer dwells, or a longer aperture."
        )
        return Conclusion("settling", figures, text, tells=False, picture=picture)
    if fit.rest_squared > chi_square_quantile(_SURE, fit.freedom) * max(scatter, 1e-300) ** 2:
        text = (
            f"It settles, but not with one time constant (about {engineering(fit.tau, 's', 2)}): several things come to"
            " rest one after the other. Lengthen the delay until R no longer changes."
        )
        return Conclusion("settling", figures, text, tells=False, picture=picture)
    delay_s = max(_LEAST_DELAY_S, fit.tau_high * math.log(max(1.0, abs(first.value) / _LEFT)))
    text = (
        f"The voltage settles with {engineering(fit.tau, 's', 3)}; {ppm(first.value, 1.0)} of R are missing at the"
        f" change. A delay of {engineering(delay_s, 's', 2)} leaves less than 10 ppm."
    )
    return Conclusion("settling", figures, text, {"settle": engineering(delay_s, "s", 2)}, picture=picture)


def _folded(run: StudyRun) -> tuple[Floats, Floats, float]:
    """Time since the change, half the difference of the signs over the current at each place of a dwell, scatter."""
    t, I, V = run.rows
    since = since_change(np.diff(I) != 0)
    first = np.arange(len(t)) - since
    starts = np.flatnonzero(since == 0)
    # Whole pairs of dwells, without the first dwell, which comes from elsewhere.
    dwell = int(np.median(np.diff(starts)))
    good = first > 0
    times, values, scatters = [], [], []
    largest_A = float(np.abs(I).max())
    for k in range(dwell):
        here = good & (since == k)
        plus, minus = V[here & (I > 0)], V[here & (I < 0)]
        pairs = min(len(plus), len(minus))
        difference = (plus[:pairs] - minus[:pairs]) / (2 * largest_A)
        times.append(float(np.mean(t[here] - t[first[here]])))
        values.append(float(difference.mean()))
        scatters.append(float(difference.std(ddof=1)) / math.sqrt(pairs))
    # A reading's middle is half an aperture after its start; the change comes a delay and the source's time before.
    begin_s = run.recipe.settle_s
    return np.array(times) + begin_s, np.array(values), float(np.mean(scatters))
