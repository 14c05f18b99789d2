"""The noise of a bench: white, flicker and a walk of the thermal EMF; its covariance between readings, and its fit.

White noise of spectral density e^2 (one-sided, V^2/Hz) has the variance e^2 / (2 a) over an aperture a. Flicker noise
has the density A / f. A walk grows by q^2 t. Flicker noise and walk have no variance of their own, only differences
do: their covariances hold for sums whose weights add up to nothing, as those of a reversal do.

The fit is that of Whittle: the likelihood of a periodogram whose values are independent and exponential about the
spectrum (P. Whittle, Ark. Mat. 2, 1953, cited from memory); a cubic is taken away first, and a sine taper keeps the
slow part from leaking.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST_READINGS = 100
_BOLTZMANN_J_PER_K = 1.380649e-23  # exact, SI 2019
_ROOM_K = 296.0
_FIRST_BIN = 3  # the cubic has taken what lies below


def thermal_V2_per_Hz(resistance_ohm: float) -> float:
    """Density of the thermal noise of leads and contacts at room temperature, one-sided (4 k T R)."""
    return 4 * _BOLTZMANN_J_PER_K * _ROOM_K * resistance_ohm


@dataclass(frozen=True, slots=True)
class Noise:
    """Of the voltmeter and the wiring, at its input, and of the source.

    `white_V2_per_Hz` is e^2, `flicker_V2` is A, `walk_V_per_rt_s` is q; `of_current_per_rt_Hz` is the source's white
    noise as part of the current, which makes a voltage in proportion to R and I.
    """

    white_V2_per_Hz: float
    flicker_V2: float = 0.0
    walk_V_per_rt_s: float = 0.0
    of_current_per_rt_Hz: float = 0.0

    def at(self, voltage_V: float) -> Noise:
        """With the source's noise as it adds to the white one at that voltage over the part."""
        white = self.white_V2_per_Hz + (self.of_current_per_rt_Hz * voltage_V) ** 2
        return replace(self, white_V2_per_Hz=white, of_current_per_rt_Hz=0.0)

    def covariance(self, time_s: Floats, aperture_s: float) -> Floats:
        """(n, n) in V^2, between readings with their middle at these times, for weights that add up to nothing."""
        D, a = np.abs(np.subtract.outer(time_s, time_s)), aperture_s
        same = np.eye(len(time_s), dtype=bool)
        found: Floats = np.where(same, self.white_V2_per_Hz / (2 * a), 0.0)
        found = found - np.where(same, 0.0, self.walk_V_per_rt_s**2 / 2 * (D - a / 3))
        if self.flicker_V2:
            found = found - self.flicker_V2 / a**2 * (_twice(D + a) - 2 * _twice(D) + _twice(np.abs(D - a)))
        return found


def _twice(x: Floats) -> Floats:
    """The second integral of ln x."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Floats = np.where(x > 0, x**2 / 2 * np.log(x) - 0.75 * x**2, 0.0)
    return found


def spectrum(values: Floats) -> tuple[Floats, Floats]:
    """Frequency per reading and power of an even series, without its cubic and with a sine taper: of white noise of
    variance s^2 each value is s^2 in the mean. `values` (n,).
    """
    n = len(values)
    x = np.linspace(-1.0, 1.0, n)
    rest = values - np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyfit(x, values, 3))
    taper = math.sqrt(2 / (n + 1)) * np.sin(math.pi * (np.arange(n) + 1) / (n + 1))
    power = np.abs(np.fft.rfft(rest * taper)) ** 2
    bins = np.arange(_FIRST_BIN, n // 2 - 1)
    return bins / n, power[bins]


def fit_noise(values_V: Floats, step_s: float, aperture_s: float) -> Noise:
    """The noise that makes such readings likeliest; `values_V` (n,) are what is left of the voltages, LEAST_READINGS or
    more, `step_s` the time from one to the next.
    """
    from scipy.optimize import minimize

    f, power = spectrum(values_V)
    scale = float(np.median(power)) or float(power.mean())
    if not scale > 0:
        return Noise(0.0)
    shapes = np.stack([np.ones(len(f)), 1 / (4 * np.sin(math.pi * f) ** 2), 1 / (2 * f)])
    P = power / scale

    def cost(logs: Floats) -> float:
        model = np.exp(np.clip(logs, -46.0, 46.0)) @ shapes
        return float((np.log(model) + P / model).sum())

    # From several starts: each kind may be the one that counts, and a kind that is absent goes to nothing.
    starts = ((0.0, -30.0, -30.0), (0.0, -6.0, -30.0), (0.0, -30.0, -3.0), (-3.0, -6.0, -3.0), (-6.0, 0.0, -30.0))
    options = {"xatol": 1e-3, "fatol": 1e-4, "maxiter": 2000, "maxfev": 2000}
    found = [minimize(cost, np.array(start), method="Nelder-Mead", options=options) for start in starts]  # type: ignore[call-overload]
    best = min(found, key=lambda one: float(one.fun))
    white, walk, flicker = scale * np.exp(np.clip(best.x, -46.0, 46.0))
    return Noise(2 * aperture_s * float(white), float(flicker), math.sqrt(float(walk) / step_s))
