"""Specimen, leads and source as one circuit: the true voltage between the sense leads, averaged over an aperture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sim.world.air import above_start_K
from sim.world.config import Ambient, ContactStep, Part, Source, Specimen, Wiring
from sim.world.current import CurrentTrace, SourceNoise
from sim.world.fixture import Fixture
from sim.world.thermal_emf import EmfSource

_MOMENT_S = 1e-6


class Circuit:
    """Current steps become effective at their own time; between them the current settles to first order.

    Time only goes on: `mean_voltage_V` must be asked in the order of time.
    """

    def __init__(
        self,
        specimen: Specimen,
        wiring: Wiring,
        emf: EmfSource,
        source: Source,
        *,
        contact_steps: Sequence[ContactStep] = (),
        ambient: Ambient | None = None,
        parts: Sequence[Part] = (),
        rng: np.random.Generator,
    ) -> None:
        self._specimen = specimen
        self._wiring = wiring
        self._source = source
        self._emf = emf
        self._ambient = ambient or Ambient()
        self._contact_steps = tuple(contact_steps)
        self._rng = rng
        self.fixture = Fixture(specimen, parts, rng)
        self._memory_ohm = specimen.memory_ohm * rng.standard_normal() if specimen.memory_ohm else 0.0
        self._absorbed_A = 0.0
        self._trace = CurrentTrace(wiring.settling_time_constant_s)
        self._noise = SourceNoise(source.noise_A_per_rt_Hz, rng)
        self._pending: list[tuple[float, float]] = []
        self._time_s = 0.0
        self._step_time_s = 0.0
        self._from_A = self._to_A = 0.0
        self._rise_K = 0.0

    def limited_current_A(self, level_A: float, compliance_V: float) -> float:
        """What flows for a set level: with the source's errors, and no more than the compliance drives."""
        gain = 1 + self._source.gain_error + (self._source.asymmetry if level_A > 0 else 0.0)
        gain += self._source.gain_drift_per_s * self._time_s
        gain += self._source.warm_up * math.exp(-self._time_s / self._source.warm_up_time_constant_s)
        wanted = level_A * gain + self._source.offset_A
        most = 0.0 if self.fixture.open else compliance_V / self._load_ohm
        return math.copysign(min(abs(wanted), most), wanted)

    def in_compliance(self, level_A: float, compliance_V: float) -> bool:
        """Whether the compliance limits the current at that level."""
        return level_A != 0.0 if self.fixture.open else abs(level_A) * self._load_ohm > compliance_V

    @property
    def _load_ohm(self) -> float:
        return self._specimen.resistance_ohm + self._wiring.source_leads_ohm

    def connect(self, closed: frozenset[int], time_s: float) -> None:
        """The scanner's contacts have moved: these channels are closed now."""
        flowing_A = self._trace.mean_A(time_s, time_s + _MOMENT_S)
        found = self.fixture.connect(closed, time_s, flowing_A, self._rise_K)
        if found is not None:
            self._specimen, self._rise_K = found

    def step_at(self, time_s: float, current_A: float) -> None:
        """Let the current go to `current_A` from `time_s` on."""
        self._trace.add(max(time_s, self._time_s), current_A)
        self.fixture.flows(current_A)
        self._pending.append((max(time_s, self._time_s), current_A))
        self._pending.sort(key=lambda step: step[0])

    def resistance_ohm(self) -> float:
        """The specimen's resistance at its temperature of the moment: the truth that a measurement looks for."""
        cold = self._specimen.resistance_ohm * (1 + self._specimen.temperature_coefficient_per_K * self._rise_K)
        cold *= self._air_factor(self._time_s)
        return cold + self._contact_ohm(self._time_s)

    def mean_voltage_V(self, start_s: float, end_s: float) -> float:
        """Mean true voltage at the sense leads over [start, end]."""
        self._advance(start_s)
        flux = self._advance(end_s)
        duration = end_s - start_s
        flux += self._noise.mean_A(start_s, end_s) * self._specimen.resistance_ohm * duration
        emf_V = self._emf.mean_V(start_s, end_s) + self.fixture.mean_emf_V(start_s, end_s)
        return self._wiring.sense_gain * flux / duration + emf_V

    def mean_current_A(self, start_s: float, end_s: float) -> float:
        """Mean true current over [start, end]; may be asked beside the voltage, before it or after it."""
        return self._trace.mean_A(start_s, end_s) + self._noise.mean_A(start_s, end_s)

    def _advance(self, until_s: float) -> float:
        """Move on to `until_s`; the integral of R*I over the way, in volt seconds."""
        integral = 0.0
        while self._pending and self._pending[0][0] <= until_s:
            time_s, current_A = self._pending.pop(0)
            integral += self._pass_to(time_s)
            self._from_A, self._to_A, self._step_time_s = self._current_at(time_s), current_A, time_s
        return integral + self._pass_to(until_s)

    def _pass_to(self, end_s: float) -> float:
        """Pass a stretch without a step, cut where the settling ends so that each piece is smooth."""
        integral = 0.0
        settled_s = self._step_time_s + 5 * self._wiring.settling_time_constant_s
        if self._time_s < settled_s < end_s:
            integral += self._pass_piece(settled_s)
        return integral + self._pass_piece(end_s)

    def _pass_piece(self, end_s: float) -> float:
        start_s, duration = self._time_s, end_s - self._time_s
        if duration <= 0:
            return 0.0
        self._time_s = end_s
        current, square = self._mean_current(start_s, end_s)
        s = self._specimen
        resistance = s.resistance_ohm * self._mean_factor(square, duration)
        resistance *= self._air_factor((start_s + end_s) / 2)
        resistance += self._contact_ohm((start_s + end_s) / 2) + s.cubic_ohm_per_A2 * square
        if s.memory_ohm:
            keep = math.exp(-duration / s.memory_time_constant_s)
            self._memory_ohm *= keep
            self._memory_ohm += s.memory_ohm * math.sqrt(1 - keep * keep) * self._rng.standard_normal()
            resistance += self._memory_ohm
        flux = current * duration * resistance + s.rectifying_ohm_per_A * square * duration
        if s.following_V and abs(current) > s.following_above_A:
            flux += math.copysign(s.following_V, current) * duration
        if self._wiring.inductance_H:
            flux += self._wiring.inductance_H * (self._current_at(end_s) - self._current_at(start_s))
        if self._wiring.absorption:
            flux += self._wiring.absorption * resistance * self._absorption(current, duration)
        return flux

    def _air_factor(self, time_s: float) -> float:
        """R at the specimen's temperature over R at the start, as the air makes it."""
        s = self._specimen
        if not s.air_lag_s:
            return 1.0
        return 1 + s.temperature_coefficient_per_K * above_start_K(self._ambient, s.air_lag_s, time_s)

    def _contact_ohm(self, time_s: float) -> float:
        return sum(step.change_ohm for step in self._contact_steps if time_s >= step.time_s)

    def _absorption(self, current: float, duration: float) -> float:
        """Integral of (slow current - current): what is still missing of the voltage, per ohm."""
        tau, missing = self._wiring.absorption_time_constant_s, self._absorbed_A - current
        left = math.exp(-duration / tau)
        self._absorbed_A = current + missing * left
        return missing * tau * (1 - left)

    def _mean_factor(self, current_squared: float, duration: float) -> float:
        """Mean of R/R0 over the piece, while the specimen warms: tau dT/dt = I^2 R0 (1 + alpha T) R_th - T."""
        s = self._specimen
        if s.thermal_resistance_K_per_W == 0 or s.temperature_coefficient_per_K == 0:
            return 1.0
        cold_rise = current_squared * s.resistance_ohm * s.thermal_resistance_K_per_W
        feedback = 1 - s.temperature_coefficient_per_K * cold_rise
        final, tau = cold_rise / feedback, s.thermal_time_constant_s / feedback
        left = math.exp(-duration / tau)
        mean_rise = final + (self._rise_K - final) * tau / duration * (1 - left)
        self._rise_K = final + (self._rise_K - final) * left
        return 1 + s.temperature_coefficient_per_K * mean_rise

    def _current_at(self, time_s: float) -> float:
        tau = self._wiring.settling_time_constant_s
        if tau == 0:
            return self._to_A
        return self._to_A + (self._from_A - self._to_A) * math.exp(-(time_s - self._step_time_s) / tau)

    def _mean_current(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean of I and of I squared over a piece."""
        tau, final, difference = self._wiring.settling_time_constant_s, self._to_A, self._from_A - self._to_A
        if tau == 0 or difference == 0:
            return final, final * final
        h = end_s - start_s
        a, b = math.exp(-(start_s - self._step_time_s) / tau), math.exp(-(end_s - self._step_time_s) / tau)
        first, second = tau / h * (a - b), tau / (2 * h) * (a * a - b * b)
        return final + difference * first, final * final + 2 * final * difference * first + difference**2 * second
