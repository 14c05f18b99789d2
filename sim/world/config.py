"""What a simulated bench is made of; SI units in the names. One dataclass a table of a scenario file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Specimen:
    """The part under test. With a thermal resistance the current warms it by P * R_th, with one time constant.

    `cubic_ohm_per_A2` makes R rise with I squared at once (a film under stress), `rectifying_ohm_per_A` with I
    itself: another resistance for each sign. `following_V` is an EMF that follows the current's sign above
    `following_above_A`, whatever its size. `memory_ohm` is the deviation of a slow noise of R with
    `memory_time_constant_s`. With `air_lag_s` above 0 it follows the air's temperature that slowly.
    """

    resistance_ohm: float
    temperature_coefficient_per_K: float = 0.0
    thermal_resistance_K_per_W: float = 0.0
    thermal_time_constant_s: float = 10.0
    cubic_ohm_per_A2: float = 0.0
    rectifying_ohm_per_A: float = 0.0
    following_V: float = 0.0
    following_above_A: float = 1e-3
    memory_ohm: float = 0.0
    air_lag_s: float = 0.0
    memory_time_constant_s: float = 5.0


@dataclass(frozen=True, slots=True)
class Wiring:
    """Leads, and the first-order settling of the voltage after the current changed.

    The sense leads carry only what the voltmeter draws, and add their thermal noise. `sense_gain` is 1 for leads that
    are on, -1 for a pair that is exchanged, 0 for an open one. An inductance adds L dI/dt; dielectric absorption lets
    the fraction `absorption` of each change come with the slow `absorption_time_constant_s`.
    """

    source_leads_ohm: float = 0.1
    sense_leads_ohm: float = 0.0
    settling_time_constant_s: float = 0.0
    sense_gain: float = 1.0
    inductance_H: float = 0.0
    absorption: float = 0.0
    absorption_time_constant_s: float = 0.5


@dataclass(frozen=True, slots=True)
class ThermalEmf:
    """E(t) = offset + drift * t + decay * exp(-t / tau) + a random walk."""

    offset_V: float = 0.0
    drift_V_per_s: float = 0.0
    decay_V: float = 0.0
    decay_time_constant_s: float = 60.0
    random_walk_V_per_rt_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Ambient:
    """The air about the bench: a cycle, as of a heater or the sun, and a slow drift."""

    amplitude_K: float = 0.0
    period_s: float = 600.0
    drift_K_per_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Junction:
    """Where two metals meet in a sense lead: its Seebeck coefficient against copper, and how it follows the air.

    `above_air_K` is its steady excess, as near a warm part; `lag_s` how slowly it follows. Of two junctions of the same
    pair of metals one has the opposite sign, and only their difference counts.
    """

    seebeck_V_per_K: float
    above_air_K: float = 0.0
    lag_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Touch:
    """A hand on a junction (counted from 0) from `time_s` for `duration_s`; the warmth goes away with its constant."""

    time_s: float
    duration_s: float = 2.0
    junction: int = 0
    warmth_K: float = 5.0
    time_constant_s: float = 8.0


@dataclass(frozen=True, slots=True)
class ContactStep:
    """A contact that moves: from `time_s` on the resistance is another one by `change_ohm`."""

    time_s: float
    change_ohm: float


@dataclass(frozen=True, slots=True)
class Faults:
    """What an instrument does wrong; counts are messages since it was switched on, 0 for never.

    `mute_after` goes on executing and answers no more, `stall_after` does neither. `*_at` happens once, there.
    `clamp` is the part of a number that it takes of what it is sent, without a word.
    """

    stall_after: int = 0
    mute_after: int = 0
    garbage_at: int = 0
    late_at: int = 0
    twice_at: int = 0
    error_at: int = 0
    drop_after: int = 0
    garbage_every: int = 0
    twice_every: int = 0
    late_every: int = 0
    late_s: float = 3.0
    slow_s: float = 0.0
    errors_every: int = 0
    clamp: float = 1.0
    resets_after: int = 0
    one_client: int = 0


@dataclass(frozen=True, slots=True)
class Lines:
    """Trigger lines: from the pulse to the source's change, and from the reading's end to the source.

    Faults by the number of the pulse, 0 for never: `lost_at` does not arrive, `bounce_at` steps the source twice.
    """

    step_delay_s: float = 0.0001
    return_delay_s: float = 0.00005
    lost_at: int = 0
    bounce_at: int = 0


@dataclass(frozen=True, slots=True)
class Source:
    """The current source. `latency_s` passes between accepting a command and changing the current."""

    gain_error: float = 0.0
    gain_drift_per_s: float = 0.0
    warm_up: float = 0.0  # by how much of the current it is off when it has just been switched on
    warm_up_time_constant_s: float = 600.0
    offset_A: float = 0.0
    asymmetry: float = 0.0  # the positive current is larger by this part
    noise_A_per_rt_Hz: float = 0.0
    latency_s: float = 0.004
    max_current_A: float = 10.0
    max_compliance_V: float = 20.0


@dataclass(frozen=True, slots=True)
class Thermometer:
    """A thermometer in the air at the specimen; `air_C` is the air at the start.

    `there` is 1 where the bench has one, 2 where it is the second input of the voltmeter.
    """

    there: float = 0.0
    air_C: float = 23.0
    error_K: float = 0.0


@dataclass(frozen=True, slots=True)
class PolaritySwitch:
    """A switch that turns the current of a source which has one sign only; `there` is 1 where the bench has one.

    Channel 1 leads the current one way, channel 2 the other.
    """

    there: float = 0.0


@dataclass(frozen=True, slots=True)
class Part:
    """One of several parts on a scanner, the first on channel 1; all else is the specimen's.

    `closing_emf_V` is what its contacts add when they have just closed, and dies away. `reconnecting_ohm` is the
    deviation of R from one closing to the next.
    """

    resistance_ohm: float
    emf_V: float = 0.0
    closing_emf_V: float = 0.0
    closing_time_constant_s: float = 1.0
    reconnecting_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class CurrentShunt:
    """A standard resistor in series, with a voltmeter of its own; 0 where there is none. It has an EMF, too."""

    resistance_ohm: float = 0.0
    emf_V: float = 0.0
    emf_drift_V_per_s: float = 0.0


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
    resolution_V: float = 0.0
    mains_pickup_V: float = 0.0
    line_frequency_Hz: float = 50.0
