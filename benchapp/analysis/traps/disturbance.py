"""Disturbances in the EMF: not settled, noise that changes, pulses and jumps, a line in the spectrum."""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from benchapp.analysis.student import normal_quantile, t_quantile
from benchapp.analysis.traps.run_data import Floats, RunData, robust_deviation

_NOISE_LIMIT = 5.6
_LINE_READINGS = (48.0, 120.0, 400.0, 2000.0)
_LINE_LIMITS = (14.5, 17.0, 17.0, 22.0)


def is_not_settled(run: RunData, significance: float) -> bool:
    """Whether the first reading after a reversal differs, in proportion to the current, from those that follow.

    Needs two readings a polarity at least: with one, settling looks like resistance.
    """
    I, n = run.current_A, len(run.current_A)
    first = np.concatenate([[True], I[1:] != I[:-1]])
    if first.all() or n < 24:
        return False
    length = 16 if run.period >= 8 else 8
    found = []
    for start in range(0, n - length + 1, length):
        here = slice(start, start + length)
        t = run.time_s[here]
        design = np.column_stack([I[here], I[here] * first[here], np.ones(length), t - t.mean()])
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
    """How clearly the noise changes at its clearest change, and the reading at which it does."""
    e = run.emf_V
    z = np.sqrt(np.abs(e[:-2] - 2 * e[1:-1] + e[2:]))
    return largest_split(z, max(6, round(len(e) / 12)))


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
    """Whether one frequency stands out of the EMF's spectrum: mains pick-up, as it appears between the readings."""
    e, n = run.emf_V, len(run.emf_V)
    steps = np.diff(run.time_s)
    if n < 48 or float(steps.std()) > 0.2 * float(np.median(steps)):
        return False
    x = np.diff(e, 2) * np.hanning(n - 2)
    power = np.abs(np.fft.rfft(x)) ** 2
    frequency = np.arange(len(power)) / (n - 2)  # per reading
    band = (frequency >= 0.07) & (frequency <= 0.5 - 1.5 / n)
    P, f = power[band], frequency[band]
    if len(P) < 12 or not (P > 0).all():
        return False
    slope = np.log(np.sin(np.pi * f))
    design = np.column_stack([np.ones(len(f)), slope])
    fitted = design @ np.linalg.lstsq(design, np.log(P), rcond=None)[0]
    flat = P / np.exp(fitted)
    half = min(15, (len(flat) - 1) // 2)
    padded = np.pad(flat, half, mode="reflect")
    middle = np.median(sliding_window_view(padded, 2 * half + 1), axis=1)
    limit = float(np.interp(math.log(n), np.log(_LINE_READINGS), _LINE_LIMITS))
    return math.log(2) * float((flat / middle).max()) > limit
