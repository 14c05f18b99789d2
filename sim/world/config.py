"""What a simulated bench is made of; SI units in the names. One dataclass a table of a scenario file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Specimen:
    """The part under test. With a thermal resistance the current warms it by P * R_th, with one time constant."""

    resistance_ohm: float
    temperature_coefficient_per_K: float = 0.0
    thermal_resistance_K_per_W: float = 0.0
    thermal_time_constant_s: float = 10.0


@dataclass(frozen=True, slots=True)
class Wiring:
    """Leads, and the first-order settling of the voltage after the current changed.

    The sense leads carry only what the voltmeter draws, and add their thermal noise.
    """

    source_leads_ohm: float = 0.1
    sense_leads_ohm: float = 0.0
    settling_time_constant_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ThermalEmf:
    """E(t) = offset + drift * t + decay * exp(-t / tau) + a random walk."""

    offset_V: float = 0.0
    drift_V_per_s: float = 0.0
    decay_V: float = 0.0
    decay_time_constant_s: float = 60.0
    random_walk_V_per_rt_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Source:
    """The current source. `latency_s` passes between accepting a command and changing the current."""

    gain_error: float = 0.0
    offset_A: float = 0.0
    latency_s: float = 0.004
    max_current_A: float = 10.0
    max_compliance_V: float = 20.0


@dataclass(frozen=True, slots=True)
class Voltmeter:
    """The voltmeter: noise density white above the corner and 1/f below, ranges, zero and gain."""

    noise_V_per_rt_Hz: float = 1e-9
    flicker_corner_Hz: float = 0.0
    gain_error: float = 0.0
    input_resistance_ohm: float = 1e10
    zero_offset_V: float = 0.0
    zero_drift_V_per_rt_s: float = 0.0
    ranges_V: tuple[float, ...] = (0.001, 0.01, 0.1, 1.0, 10.0)
    mains_pickup_V: float = 0.0
    line_frequency_Hz: float = 50.0
