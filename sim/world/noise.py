"""What the voltmeter adds to the true voltage: noise through its aperture, mains pick-up, zero and gain."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.world.config import Voltmeter, Wiring

_BOLTZMANN_J_PER_K = 1.380649e-23  # exact since 2019
_ROOM_K = 296.15
# One relaxation process a decade gives a spectrum within a few per cent of 1/f between these.
_TAU_S = 10.0 ** np.arange(-3, 5)

Floats = NDArray[np.float64]


class VoltmeterNoise:
    """Seeded noise of consecutive readings."""

    def __init__(self, config: Voltmeter, wiring: Wiring, rng: np.random.Generator) -> None:
        self._config = config
        # The thermal noise of the sense leads, 4kTR, adds to the voltmeter's own; their resistance divides the voltage.
        lead_noise = 4 * _BOLTZMANN_J_PER_K * _ROOM_K * wiring.sense_leads_ohm
        self._noise_V_per_rt_Hz = math.sqrt(config.noise_V_per_rt_Hz**2 + lead_noise)
        self._divider = config.input_resistance_ohm / (config.input_resistance_ohm + wiring.sense_leads_ohm)
        self._rng = rng
        self._time_s = 0.0
        self._zero_V = config.zero_offset_V
        variance = config.noise_V_per_rt_Hz**2 * config.flicker_corner_Hz * math.log(10)
        self._flicker_sigma_V = math.sqrt(variance)
        self._phase = rng.uniform(0, 2 * math.pi)
        self._states = self._flicker_sigma_V * rng.standard_normal(len(_TAU_S))

    def reading_V(self, true_V: float, start_s: float, end_s: float, *, autozero: bool) -> float:
        """What is read for a mean true voltage over [start, end]."""
        c, aperture = self._config, end_s - start_s
        value = true_V * self._divider + self._mains_V(start_s, end_s)
        # Over an aperture T white noise has the equivalent bandwidth 1/(2T).
        value += self._noise_V_per_rt_Hz / math.sqrt(2 * aperture) * self._rng.standard_normal()
        value += self._flicker_V(start_s, end_s)
        if not autozero:
            value += self._zero_V
        return value * (1 + c.gain_error)

    def _mains_V(self, start_s: float, end_s: float) -> float:
        c = self._config
        if c.mains_pickup_V == 0:
            return 0.0
        omega = 2 * math.pi * c.line_frequency_Hz
        a, b = math.cos(omega * start_s + self._phase), math.cos(omega * end_s + self._phase)
        return c.mains_pickup_V * (a - b) / (omega * (end_s - start_s))

    def _flicker_V(self, start_s: float, end_s: float) -> float:
        """Mean of the slow noise over the aperture."""
        elapsed, self._time_s = max(0.0, end_s - self._time_s), end_s
        if self._config.zero_drift_V_per_rt_s:
            self._zero_V += self._config.zero_drift_V_per_rt_s * math.sqrt(elapsed) * self._rng.standard_normal()
        if self._flicker_sigma_V == 0:
            return 0.0
        duration_s = end_s - start_s
        gap_s = max(0.0, elapsed - duration_s)
        sigma, rng = self._flicker_sigma_V, self._rng
        keep = np.exp(-gap_s / _TAU_S)
        states = keep * self._states + sigma * np.sqrt(1 - keep**2) * rng.standard_normal(len(keep))
        keep, mean, to_end, to_both, to_mean = _through(duration_s)
        common = rng.standard_normal(len(keep))
        self._states = keep * states + sigma * to_end * common
        means = mean * states + sigma * (to_both * common + to_mean * rng.standard_normal(len(keep)))
        return float(means.sum())


@lru_cache(maxsize=64)
def _through(duration_s: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """A relaxation process of unit variance over an aperture, with its state x at the start: x at the end is
    `keep` x + `to_end` z, its mean `mean` x + `to_both` z + `to_mean` z', with z and z' independent of unit variance.
    """
    r = duration_s / _TAU_S
    gone = -np.expm1(-r)
    to_end = np.sqrt(-np.expm1(-2 * r))
    to_both = gone**2 / r / to_end
    # 2r - 3 + 4 exp(-r) - exp(-2r) cancels where r is small.
    variance = np.where(r < 1e-3, 2 / 3 * r - r * r / 2, (2 * r - 2 * gone - gone**2) / (r * r))
    return 1 - gone, gone / r, to_end, to_both, np.sqrt(np.maximum(0.0, variance - to_both**2))
