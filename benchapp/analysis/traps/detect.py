"""All traps in order; the first that fires gives the run its name, because one fault looks like several.

What readings at one current cannot tell is not claimed: settling on plain + and -, a wrong but constant current,
a part that is not ohmic, steady self-heating. The guide says what would test it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.estimate import Estimate, Estimator, Flag
from benchapp.analysis.levels import changes, sign_period
from benchapp.analysis.running_blocks import COVERAGE_PROBABILITY, OVERLOAD_V
from benchapp.analysis.slow_part import slow_uncertainty
from benchapp.analysis.state_space import state_space
from benchapp.analysis.student import coverage_factor
from benchapp.analysis.traps import disturbance, levels, shape, signal
from benchapp.analysis.traps.run_data import Floats, RunData

LEAST_READINGS = 20
_LEAST_BLOCKS = 5
_GAP = 5.0
_MOST_READINGS = 1_000_000
_CROSS_CHECKED = 200_000
_FEW_COSINES = 4
_MOST_GAPS = 50
Stretches = tuple[tuple[float, float], ...]
_TEXTS = {
    "resolution-limited": "Readings repeat to the last digit: the voltmeter's resolution, or a clipped input, hides the"
    " noise, and the interval is too small. Choose a lower range, more aperture or more current.",
    "polarity-slip": "For a part of the run the readings belong to the other sign of the current: source and voltmeter"
    " are out of step. The value is wrong. Check triggering and settling, and measure again.",
    "sense-reversed": "The resistance is negative: the sense leads, or the source leads, are exchanged. Exchange one"
    " pair.",
    "open-lead": "No voltage follows the current: a lead is open, or no current flows. Check clamps and output.",
    "not-settled": "The first reading after each reversal differs from those that follow: the voltage has not settled"
    " and the value is off. Lengthen the settling time until it no longer changes the value.",
    "range-changed": "The noise changes in the middle of the run, as after a change of range. Fix the range.",
    "outlier": "The EMF has a pulse or a jump (a hand, a draught, a switch). It pulls the value and widens the"
    " interval. Measure again without it, or leave that stretch out.",
    "correlated-noise": "The values have a memory: slow noise in the resistance itself or in the current. The interval"
    " was widened, and may still be too small. Measure longer, and look for a loose contact.",
    "step": "The resistance changes in one step during the run: a contact has moved. The mean describes neither side.",
    "self-heating": "The resistance runs towards another value, as of a part that warms. Use less current, or wait.",
    "drift-excess": "The resistance drifts over the run: temperature, or the current source. The mean is that of a"
    " moving value.",
    "mains-pickup": "One frequency stands out of the noise: mains pick-up, seen through the readings. Use an aperture"
    " of whole power-line cycles, and twist and shield the sense leads.",
    "non-ohmic": "The resistance is another one at another current: the part is not ohmic, or the current warms it.",
    "current-asymmetry": "The currents of both signs differ by more than a thousandth. The recorded currents are used;"
    " where they are only as set, and not as read back, R may be off by half the difference.",
    "time-gap": "The readings pause for longer than usual; no block spans the gap.",
}


def with_traps(
    estimate: Estimate,
    time_s: Sequence[float] | Floats,
    current_A: Sequence[float] | Floats,
    voltage_V: Sequence[float] | Floats,
    blocks: Floats,
    *,
    cross_checked: int | None = None,
) -> Estimate:
    """The estimate with the flags of the traps; noise with a memory widens its interval.

    `blocks` are columns of ClosedBlock. Of more than a million readings the first million
    are looked at. A second estimate is made of runs of at most `cross_checked` readings, and 200,000 at most.
    """
    t, I, V = (np.asarray(column[:_MOST_READINGS], dtype=float) for column in (time_s, current_A, voltage_V))
    rows = blocks[:, blocks[0] <= t[-1]] if len(t) else blocks
    flags = find_traps(t, I, V, rows, estimate)
    differing = (
        cross_check(estimate, t, I, V) if len(t) <= min(cross_checked or _CROSS_CHECKED, _CROSS_CHECKED) else None
    )
    if differing is not None and all(flag.severity == "notice" for flag in flags):
        flags.append(differing)
    if any(flag.code == "correlated-noise" for flag in flags):
        estimate = _widened(estimate, rows[1])
    return replace(estimate, flags=(*estimate.flags, *flags))


def cross_check(estimate: Estimate, t: Floats, I: Floats, V: Floats) -> Flag | None:
    """A flag where the state-space estimate and the one that is stated lie outside each other's intervals.

    They share all readings and differ in what they assume of the EMF; in clean runs they differ by less than 0.8 U.
    """
    good = np.abs(V) < OVERLOAD_V
    other = None if estimate.estimator is Estimator.STATE_SPACE else state_space(t[good], I[good], V[good])
    if other is None or not estimate.degrees_of_freedom:
        return None
    half = other.standard_uncertainty_ohm * coverage_factor(other.degrees_of_freedom, COVERAGE_PROBABILITY)
    if abs(other.resistance_ohm - estimate.resistance_ohm) <= max(half, estimate.repeatability_95_ohm):
        return None
    text = (
        f"Two ways to compute R disagree: {estimate.estimator} {estimate.resistance_ohm:.9g} ohm, state-space"
        f" {other.resistance_ohm:.9g} ohm. The EMF does something that one of them does not allow for, such as a strong"
        " curvature. Wait until the wiring is at rest, or choose emf_order = 2, and measure again."
    )
    return Flag("estimates-differ", "warning", text)


def _widened(estimate: Estimate, block_ohm: Floats) -> Estimate:
    """With four cosines of the blocks' series instead of all: slower, wider, nearer to the truth."""
    u, degrees = slow_uncertainty(block_ohm, 1, len(block_ohm) * 3 / (8 * _FEW_COSINES))
    if not u > estimate.standard_uncertainty_ohm:
        return estimate
    k = coverage_factor(degrees, estimate.coverage_probability)
    return replace(
        estimate,
        standard_uncertainty_ohm=u,
        expanded_uncertainty_ohm=k * u,
        repeatability_95_ohm=k * u,
        coverage_factor=k,
        degrees_of_freedom=degrees,
    )


def find_traps(t: Floats, I: Floats, V: Floats, blocks: Floats, estimate: Estimate) -> list[Flag]:
    """Flags of a run (`blocks` as columns of ClosedBlock); O(n log n). The estimate itself flags an overload."""
    changed = changes(I)
    gaps = _gaps(t, changed)
    flags = [_flag("time-gap", "notice", gaps)] if gaps else []
    good = np.abs(V) < OVERLOAD_V
    if not good.all() or blocks.shape[1] < 2:
        return flags
    if blocks.shape[1] < _LEAST_BLOCKS or len(t) < LEAST_READINGS:
        return [*flags, *_of_few(t, I, V, blocks, estimate, changed)]
    block_time, block_ohm = blocks[0], blocks[1]
    several = levels.by_level(t, I, blocks)
    R_of_reading = np.full(len(t), np.median(block_ohm))
    if several is not None:
        # Each size has its R: what differs between them is asked once, and taken away before anything else is.
        flags += _of_sizes(several, block_ohm)
        R_of_reading = several.resistance_ohm[np.maximum(several.of_reading, 0)]
        # Whether R moves is asked of the blocks at the largest current: they scatter least, and all alike.
        kept = several.size == len(several.sizes_A) - 1
        block_time, block_ohm = block_time[kept], block_ohm[kept]
    period = sign_period(I)
    found = shape.find_shape(block_time, block_ohm, 0.008 if period == 2 else 0.006)
    if found is not None:
        # Where R itself moves, what it follows is taken away, or its steps would look like noise in the EMF.
        R_of_reading = R_of_reading + found.at(t, block_time) - np.median(block_ohm)
    emf = V - R_of_reading * I
    bridged = None
    if found is not None and found.code == "step":
        start_s, end_s = found.edge_s(block_time)
        bridged = (t >= start_s) & (t <= end_s)
        emf = _bridged(emf, t, bridged)
    run = RunData(
        time_s=t,
        current_A=I,
        voltage_V=V,
        emf_V=emf,
        block_ohm=block_ohm,
        resistance_ohm=estimate.resistance_ohm,
        half_width_ohm=estimate.repeatability_95_ohm,
        period=period,
        changed=changed,
        bridged=bridged,
    )
    if levels.is_asymmetric(I):
        flags.append(_flag("current-asymmetry", "notice"))
    code = _first_trap(run, found)
    if not code:
        return flags
    flag = _flag(code, "warning", _where(code, run, block_time))
    if found is not None and code == found.code:
        flag = replace(flag, size_ohm=float(np.ptp(found.fitted_ohm)))
    return [*flags, flag]


def _of_few(
    t: Floats, I: Floats, V: Floats, blocks: Floats, estimate: Estimate, changed: NDArray[np.bool_]
) -> list[Flag]:
    """Of a short run nothing is asked but whether there is a signal at all, with the right sign."""
    run = RunData(
        time_s=t,
        current_A=I,
        voltage_V=V,
        emf_V=V - np.median(blocks[1]) * I,
        block_ohm=blocks[1],
        resistance_ohm=estimate.resistance_ohm,
        half_width_ohm=estimate.repeatability_95_ohm,
        period=sign_period(I),
        changed=changed,
    )
    questions = (
        (signal.is_tied, "resolution-limited"),
        (signal.is_reversed, "sense-reversed"),
        (signal.has_no_signal, "open-lead"),
    )
    code = next((code for asks, code in questions if asks(run)), "")
    return [_flag(code, "warning")] if code else []


def _of_sizes(several: levels.ByLevel, block_ohm: Floats) -> list[Flag]:
    """Whether the smallest and the largest current give two resistances."""
    small, large = block_ohm[several.size == 0], block_ohm[several.size == len(several.sizes_A) - 1]
    if not levels.is_non_ohmic(small, large):
        return []
    flag = _flag("non-ohmic", "warning")
    R0 = levels.at_zero_power(small, large, several.sizes_A[0], several.sizes_A[-1])
    return [replace(flag, text=f"{flag.text} Without self-heating it would be {R0:.6g} ohm.")]


def _bridged(emf: Floats, t: Floats, within: NDArray[np.bool_]) -> Floats:
    """The EMF with a straight line over the readings among which a step of R lies: whose they are cannot be told."""
    if within.all() or not within.any():
        return emf
    bridged = emf.copy()
    bridged[within] = np.interp(t[within], t[~within], emf[~within])
    return bridged


def _first_trap(run: RunData, found: shape.Shape | None) -> str:
    """The code of the first trap that fires; empty where none does."""
    if signal.is_tied(run):
        return "resolution-limited"
    if signal.has_slipped(run):
        return "polarity-slip"
    if signal.is_reversed(run):
        return "sense-reversed"
    if signal.has_no_signal(run):
        return "open-lead"
    if disturbance.is_not_settled(run, 0.003 if run.alternating else 0.002):
        return "not-settled"
    if shape.is_correlated(run.block_ohm if found is None else found.residual_ohm):
        return "correlated-noise"
    if disturbance.noise_changes(run):
        return "range-changed"
    if disturbance.disturbed_reading(run) is not None:
        return "outlier"
    if found is not None:
        return found.code
    return "mains-pickup" if disturbance.has_line(run) else ""


def _where(code: str, run: RunData, block_time: Floats) -> Stretches:
    """The stretches of time that a trap has found; empty where it concerns the whole run."""
    t = run.time_s
    if code == "outlier":
        place = disturbance.disturbed_reading(run)
        return () if place is None else ((float(t[max(0, place - 1)]), float(t[min(len(t) - 1, place + 2)])),)
    if code == "range-changed":
        return ((float(run.noise_time_s[disturbance.noise_change(run)[1]]), float(t[-1])),)
    if code == "step":
        k = shape.step_place(run.block_ohm)
        return ((float(block_time[k - 1]), float(block_time[k])),)
    if code == "polarity-slip":
        place = signal.slip_start(run)
        return () if place is None else ((float(t[place]), float(t[min(len(t) - 1, place + 8)])),)
    return ()


def _gaps(t: Floats, changed: NDArray[np.bool_]) -> Stretches:
    """Steps in time of more than five times the usual one of their kind, with or without a change of the current."""
    steps = np.diff(t)
    places: list[int] = []
    for kind in (changed, ~changed):
        of_kind = steps[kind]
        if len(of_kind) >= 8:
            places += np.flatnonzero(kind & (steps > _GAP * float(np.median(of_kind)))).tolist()
    return tuple((float(t[k]), float(t[k + 1])) for k in sorted(places)[:_MOST_GAPS])


def _flag(code: str, severity: str, where_s: Stretches = ()) -> Flag:
    return Flag(code, severity, _TEXTS[code], where_s)
