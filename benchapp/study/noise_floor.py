"""The noise of a bench: white density, the corner of its 1/f part, and how long averaging helps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from benchapp.analysis.noise import Noise, fit_noise, spectrum
from benchapp.plan.learnt import learn, without_signal
from benchapp.plan.optimum import APERTURES_NPLC, DWELLS
from benchapp.plan.weights import Pace, scatter
from benchapp.quantity import engineering
from benchapp.recipe import Recipe, StopRule
from benchapp.study.conclusion import Conclusion, Figure, Floats, StudyRun

_RATIO = 3.841 * 1.5  # of twice the log likelihood at 95 %; the taper ties neighbouring bins together
_TIME_S = 60.0


def noise_floor(runs: list[StudyRun]) -> Conclusion:
    """From one run of 300 readings or more."""
    run = runs[0]
    t, I, V = run.rows
    learnt = learn(run.recipe, t, I, V, "the study's run")
    rest = without_signal(run.recipe, t, I, V)
    step_s = float(t[-1] - t[0]) / (len(t) - 1)
    noise = fit_noise(rest, step_s, run.recipe.aperture_s)
    white, corner = _profiled(rest, noise, step_s, run.recipe.aperture_s)
    best, U = _best(run.recipe, noise, learnt.pace)
    signs = best.signs.replace("-", "\u2212")
    text = (
        f"White noise of {engineering(white.value, 'V', 3)} per root hertz"
        + (f", 1/f below {engineering(corner.value, 'Hz', 2)}" if corner.low > 0 else ", no 1/f seen")
        + f". For this noise {best.nplc:g} PLC with {signs} is best: in one minute"
        f" U = {engineering(U, 'ohm', 2)}."
    )
    changes = {"nplc": f"{best.nplc:g}", "signs": best.signs}
    f, P = spectrum(rest)
    return Conclusion(
        "noise-floor",
        (white, corner),
        text,
        changes,
        picture=(f / step_s, P, _model(noise, f, step_s, run.recipe.aperture_s)),
    )


def _best(recipe: Recipe, noise: Noise, pace: Pace) -> tuple[Recipe, float]:
    found = []
    for nplc in APERTURES_NPLC:
        for dwell in DWELLS:
            one = replace(
                recipe, nplc=nplc, signs="+" * dwell + "-" * dwell, stop=StopRule(None, duration_s=_TIME_S),
                examine=False, wanted_estimator=None,
            )  # fmt: skip
            step_s = one.aperture_s + pace.reading_s + (one.settle_s + pace.change_s) / dwell
            readings = max(48, int(_TIME_S / step_s))
            found.append((scatter(one, readings, noise, pace).median_U_ohm, one))
    U, best = min(found, key=lambda pair: pair[0])
    return best, U


def _model(noise: Noise, f: Floats, step_s: float, aperture_s: float) -> Floats:
    white = noise.white_V2_per_Hz / (2 * aperture_s)
    walk = noise.walk_V_per_rt_s**2 * step_s / (4 * np.sin(math.pi * f) ** 2)
    found: Floats = white + noise.flicker_V2 / (2 * f) + walk
    return found


def _profiled(rest: Floats, noise: Noise, step_s: float, aperture_s: float) -> tuple[Figure, Figure]:
    """Density and corner with the ends at which the likelihood has fallen by as much as 95 % allow."""
    from scipy.optimize import minimize

    f, P = spectrum(rest)
    scale = float(np.median(P))
    P = P / scale
    shapes = np.stack([np.ones(len(f)), 1 / (2 * f), 1 / (4 * np.sin(math.pi * f) ** 2)])

    def cost(logs: Floats) -> float:
        # log white, log (1/f over white at one reading), log walk
        white = math.exp(float(np.clip(logs[0], -40, 40)))
        model = white * (shapes[0] + math.exp(float(np.clip(logs[1], -40, 40))) * shapes[1])
        model = model + math.exp(float(np.clip(logs[2], -40, 40))) * shapes[2]
        return float((np.log(model) + P / model).sum())

    variance = noise.white_V2_per_Hz / (2 * aperture_s) / scale
    start = np.log([
        max(variance, 1e-9),
        max(noise.flicker_V2 / scale / max(variance, 1e-9), 1e-9),
        max(noise.walk_V_per_rt_s**2 * step_s / scale, 1e-12),
    ])  # fmt: skip
    options = {"xatol": 1e-3, "fatol": 1e-4, "maxiter": 3000, "maxfev": 3000}
    starts = (start, np.array([0.0, -3.0, -12.0]), np.array([0.0, -12.0, -12.0]))
    best = min(
        (minimize(cost, one, method="Nelder-Mead", options=options) for one in starts),  # type: ignore[call-overload]
        key=lambda found: float(found.fun),
    )
    least = float(best.fun)

    def profile(index: int, value: float, near: Floats) -> tuple[float, Floats]:
        others = [k for k in range(3) if k != index]

        def inner(rest_of: Floats) -> float:
            logs = np.empty(3)
            logs[index], logs[others] = value, rest_of
            return cost(logs)

        found = minimize(inner, near[others], method="Nelder-Mead", options=options)  # type: ignore[call-overload]
        logs = np.empty(3)
        logs[index], logs[others] = value, found.x
        return 2 * (float(found.fun) - least), logs

    def end(index: int, direction: float) -> float:
        at, step, value = best.x.copy(), 0.25, float(best.x[index])
        while abs(value - float(best.x[index])) < 14:
            fallen, at = profile(index, value + direction * step, at)
            if fallen > _RATIO:
                if step < 0.02:
                    return value + direction * step
                step /= 2
                at = best.x.copy() if step > 0.1 else at
                continue
            value += direction * step
        return direction * math.inf

    def told(name: str, index: int, size: Callable[[float], float], unit: str) -> Figure:
        return Figure(name, size(float(best.x[index])), size(end(index, -1)), size(end(index, 1)), unit)

    def density(log_white: float) -> float:
        return math.sqrt(scale * 2 * aperture_s) * math.exp(log_white / 2)

    def corner(log_ratio: float) -> float:
        # Of the 1/f part per reading over the white variance, which is e^2 / (2 a).
        return math.exp(min(log_ratio, 40.0)) / (2 * aperture_s)

    return told("white noise", 0, density, "V/rtHz"), told("1/f corner", 1, corner, "Hz")
