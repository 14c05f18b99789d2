"""Disturbances in the EMF: not settled, noise that changes, pulses and jumps, a line in the spectrum."""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from benchapp.analysis.levels import since_change
from benchapp.analysis.student import chi_square_quantile, normal_quantile, t_quantile
from benchapp.analysis.traps.run_data import Floats, RunData, robust_deviation

_NOISE_LIMIT = 5.6
_LINE_READINGS = (48.0, 120.0, 400.0, 2000.0)
_LINE_LIMITS = (14.5, 17.0, 17.0, 22.0)
_NOISE_GROUPS = 4096
_IRREGULAR = 0.1
_SEGMENT = 8192
_LINE_ALARMS = 0.002
_OF_THE_MEDIAN = 1.15  # the median of a hundred neighbours is itself not certain


def is_not_settled(run: RunData, significance: float) -> bool:
    """Whether readings soon after a reversal differ, in proportion to the current, from those that follow.

    Needs two readings a polarity at least: with one, settling looks like resistance. Asked of the first reading after
    each change, and, where the current stays for four or more, of the first half of them: a slow voltage shows there.
    """
    n = len(run.current_A)
    since = since_change(run.changed)
    dwell = int(np.median(np.diff(np.flatnonzero(run.changed)))) if run.changed.sum() > 2 else n
    if not since.any() or n < 24 or dwell >= n // 3:
        return False
    early = [since == 0] + ([since < dwell / 2] if dwell >= 4 else [])
    length = max(8, 16 if run.period >= 8 else 8, 4 * dwell)
    return any(_differs(run, places, length, significance / len(early)) for places in early)


def _differs(run: RunData, places: NDArray[np.bool_], length: int, significance: float) -> bool:
    """Whether R at these places is another one, by a fit over each window of so many readings."""
    I, n = run.current_A, len(run.current_A)
    found = []
    for start in range(0, n - length + 1, length):
        here = slice(start, start + length)
        t = run.time_s[here]
        design = np.column_stack([I[here], I[here] * places[here], np.ones(length), t - t.mean()])
        scale = np.abs(design).max(axis=0)
        if np.linalg.matrix_rank(design / np.where(scale > 0, scale, 1.0)) == 4:
            found.append(np.linalg.lstsq(design, run.voltage_V[here], rcond=None)[0][1])
    if len(found) < 3:
        return False
    values = np.array(found)
    deviation = float(values.std(ddof=1))
    t_value = abs(float(values.mean())) / (deviation / math.sqrt(len(values))) if deviation > 0 else 0.0
    return t_value > t_quantile(1 - significance / 2, len(values) - 1)


def noise_changes(run: RunData) -> bool:
    """Whether the noise is another one from some reading on, as after a change of range."""
    return noise_change(run)[0] > _NOISE_LIMIT


def noise_change(run: RunData) -> tuple[float, int]:
    """How clearly the noise changes at its clearest change, and the reading at which it does.

    What goes with the time that three readings in a row took is taken away first, where these times differ: an EMF
    that wanders differs more over a longer time, and a busy computer's gaps are no change of range.
    """
    e, t = run.noise_V, run.noise_time_s
    if len(e) < 3:
        return 0.0, 0
    z = np.sqrt(np.abs(e[:-2] - 2 * e[1:-1] + e[2:]))
    took = np.log(np.maximum(t[2:] - t[:-2], 1e-9))
    took -= took.mean()
    if took.std() > _IRREGULAR:
        z = z - took * float(took @ z) / float(took @ took)
    group = max(1, len(z) // _NOISE_GROUPS)  # of a long run the means of neighbours
    if group > 1:
        z = z[: len(z) // group * group].reshape(-1, group).mean(axis=1)
    score, place = largest_split(z, max(6, round(len(z) / 12)))
    return score, place * group


def largest_split(values: Floats, end: int) -> tuple[float, int]:
    """Largest two-sample |t| over all splits that leave `end` values on either side, and its place; 0 where none is."""
    n = len(values)
    if n < 2 * end + 1:
        return 0.0, 0
    k = np.arange(end, n - end + 1)
    centred = values - values.mean()
    before = np.cumsum(centred)[k - 1]
    square = np.cumsum(centred**2)
    rest = square[-1] - before**2 / k - before**2 / (n - k)  # the whole has mean 0
    difference = np.abs(before / k + before / (n - k))
    with np.errstate(divide="ignore", invalid="ignore"):
        t = difference / np.sqrt(np.maximum(rest, 0) / (n - 2) * (1 / k + 1 / (n - k)))
    if not np.isfinite(t).any():
        return 0.0, 0
    best = int(np.nanargmax(t))
    return float(t[best]), int(k[best])


def disturbed_reading(run: RunData) -> int | None:
    """The reading at which the EMF has its clearest pulse (of one to three readings) or jump; None where none is."""
    e, n = run.emf_V, len(run.emf_V)
    if n < 20:
        return None
    limit = normal_quantile(1 - 0.002 / (8 * n)) * (1 + 14 / n)
    best, place = 0.0, None
    for statistic, offset in _pulse_statistics(e):
        deviation = robust_deviation(statistic)
        if deviation <= 0:
            continue
        score = np.abs(statistic) / deviation
        where = int(np.argmax(score))
        if score[where] > max(limit, best):
            best, place = float(score[where]), where + offset
    return place


def _pulse_statistics(e: Floats) -> list[tuple[Floats, int]]:
    """Pulses of one, two, three readings against both neighbours; a step on eight readings with a straight line."""
    found = []
    for width in (1, 2, 3):
        inside = sliding_window_view(e, width)[1:-1].mean(axis=1)
        neighbours = (e[: len(inside)] + e[width + 1 : width + 1 + len(inside)]) / 2
        found.append((inside - neighbours, 1))
    step = np.array([0.0] * 4 + [1.0] * 4)
    line = np.arange(8.0) - 3.5
    z = step - step.mean() - (step @ line) / (line @ line) * line
    found.append((sliding_window_view(e, 8) @ (z / (z @ z)), 4))
    return found


def has_line(run: RunData) -> bool:
    """Whether one frequency stands out of the EMF's spectrum: mains pick-up, as it appears between the readings.

    A long run is cut into segments whose spectra are averaged: a line stays, noise becomes smooth.
    """
    e, n = run.emf_V, len(run.emf_V)
    steps = np.diff(run.time_s)
    if n < 48 or float(steps.std()) > 0.2 * float(np.median(steps)):
        return False
    count = max(1, n // _SEGMENT)
    length = n if count == 1 else _SEGMENT
    x = np.diff(e[: count * length].reshape(count, length), 2) * np.hanning(length - 2)
    power = (np.abs(np.fft.rfft(x)) ** 2).mean(axis=0)
    frequency = np.arange(len(power)) / (length - 2)  # per reading
    band = (frequency >= 0.07) & (frequency <= 0.5 - 1.5 / length)
    P, f = power[band], frequency[band]
    if len(P) < 12 or not (P > 0).all():
        return False
    slope = np.log(np.sin(np.pi * f))
    design = np.column_stack([np.ones(len(f)), slope])
    fitted = design @ np.linalg.lstsq(design, np.log(P), rcond=None)[0]
    flat = P / np.exp(fitted)
    half = min(15 if count == 1 else 50, (len(flat) - 1) // 2)
    padded = np.pad(flat, half, mode="reflect")
    middle = np.median(sliding_window_view(padded, 2 * half + 1), axis=1)
    return float((flat / middle).max()) > _line_limit(n, count, len(flat))


def _line_limit(n: int, segments: int, bins: int) -> float:
    """How many times its neighbours' median a frequency must have: by simulation; of many segments by chi-square."""
    by_simulation = float(np.interp(math.log(n), np.log(_LINE_READINGS), _LINE_LIMITS)) / math.log(2)
    if segments == 1:
        return by_simulation
    degrees = 2.0 * segments
    ratio = chi_square_quantile(1 - _LINE_ALARMS / bins, degrees) / chi_square_quantile(0.5, degrees)
    return _OF_THE_MEDIAN * ratio
