"""What the voltmeter adds to the true voltage: noise through its aperture, mains pick-up, zero and gain."""

from __future__ import annotations

import math

import numpy as np

from sim.world.config import Voltmeter, Wiring

_BOLTZMANN_J_PER_K = 1.380649e-23  # exact since 2019
_ROOM_K = 296.15
# One relaxation process a decade gives a spectrum within a few per cent of 1/f between these.
_FLICKER_TIME_CONSTANTS_S = tuple(10.0**k for k in range(-2, 5))


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
        self._states = self._flicker_sigma_V * rng.standard_normal(len(_FLICKER_TIME_CONSTANTS_S))

    def reading_V(self, true_V: float, start_s: float, end_s: float, *, autozero: bool) -> float:
        """What is read for a mean true voltage over [start, end]."""
        c, aperture = self._config, end_s - start_s
        value = true_V * self._divider + self._mains_V(start_s, end_s)
        # Over an aperture T white noise has the equivalent bandwidth 1/(2T).
        value += self._noise_V_per_rt_Hz / math.sqrt(2 * aperture) * self._rng.standard_normal()
        value += self._flicker_V((start_s + end_s) / 2)
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

    def _flicker_V(self, time_s: float) -> float:
        elapsed, self._time_s = max(0.0, time_s - self._time_s), time_s
        if self._config.zero_drift_V_per_rt_s:
            self._zero_V += self._config.zero_drift_V_per_rt_s * math.sqrt(elapsed) * self._rng.standard_normal()
        if self._flicker_sigma_V == 0:
            return 0.0
        keep = np.exp(-elapsed / np.array(_FLICKER_TIME_CONSTANTS_S))
        fresh = np.sqrt(1 - keep**2) * self._rng.standard_normal(len(keep))
        self._states = keep * self._states + self._flicker_sigma_V * fresh
        return float(self._states.sum())
