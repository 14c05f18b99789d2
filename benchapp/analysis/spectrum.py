"""The noise of the readings over frequency, free of what the current makes: white, flicker, or a line of the mains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_MOST_IN_SEGMENT = 512
_LEAST = 32


@dataclass(frozen=True, slots=True)
class Spectrum:
    """One-sided density `density_V_per_rt_Hz` (m,) at `frequency_Hz` (m,), the mean over `segments` of the run; the
    rate of the current's reversals; the frequency below which the power is twice the white one, NaN where it never is.
    """

    frequency_Hz: Floats
    density_V_per_rt_Hz: Floats
    segments: int
    reversals_Hz: float
    corner_Hz: float


def spectrum(readings: Floats) -> Spectrum | None:
    """Readings (3, n): time, current, voltage; None where there are fewer than 32. By P. D. Welch's method (IEEE Trans.
    Audio Electroacoust. 15, 70, 1967): Hann windows, half overlapping, at the median gap between readings.
    """
    t, I, V = readings
    if len(t) < _LEAST:
        return None
    design = np.column_stack([np.ones(len(t)), I])
    rest = V - design @ np.linalg.lstsq(design, V, rcond=None)[0]
    gap = float(np.median(np.diff(t)))
    size = min(_MOST_IN_SEGMENT, 1 << int(np.log2(max(_LEAST, len(rest) // 2))))
    window = np.hanning(size + 1)[:-1]
    segments = [rest[first : first + size] for first in range(0, len(rest) - size + 1, size // 2)]
    line = np.column_stack([np.ones(size), np.arange(size)])
    power = np.zeros(size // 2 + 1)
    for part in segments:
        level = part - line @ np.linalg.lstsq(line, part, rcond=None)[0]
        power += np.abs(np.fft.rfft(level * window)) ** 2
    density = power / len(segments) * 2 * gap / float(window @ window)
    frequency: Floats = np.asarray(np.fft.rfftfreq(size, gap), dtype=np.float64)
    kept = slice(1, -1)
    root: Floats = np.asarray(np.sqrt(density[kept]), dtype=np.float64)
    changes = int((np.diff(np.sign(I)) != 0).sum())
    reversals = changes / 2 / float(t[-1] - t[0]) if t[-1] > t[0] else float("nan")
    return Spectrum(frequency[kept], root, len(segments), reversals, _corner(frequency[kept], root))


def _corner(frequency: Floats, density: Floats) -> float:
    """Where the density has risen to root two of what it is in the upper half."""
    white = float(np.median(density[len(density) // 2 :]))
    smooth = np.convolve(density, np.ones(3) / 3, mode="same")
    above = np.flatnonzero(smooth[: len(density) // 2] > np.sqrt(2) * white)
    return float(frequency[above[-1]]) if len(above) and above[0] <= 1 else float("nan")
