"""The last reversals laid over each other: the voltage against the time since its reversal, free of the EMF."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.exponential import Exponential, decay, fit_exponential

Floats = NDArray[np.float64]
_LEAST_READINGS = 4  # of a dwell, for a fit of three numbers
_LEAST_PAIRS = 3
_SHORTEST, _LONGEST = 0.2, 3.0  # of the time constant, in gaps between readings and in lengths of a dwell


@dataclass(frozen=True, slots=True)
class Folded:
    """`since_s` (p,) from the reversal to the middle of each reading of a dwell; `offset_V` (p,) how far the voltage is
    from that of the dwell's last reading, positive where it lags behind the reversal's step; `u_V` (p,) its standard
    uncertainty. `fit` is an exponential through them, None where there are too few readings a dwell.
    """

    since_s: Floats
    offset_V: Floats
    u_V: Floats
    pairs: int
    fit: Exponential | None

    @property
    def tau_s(self) -> float:
        """Time constant of the fit, NaN without one that stands out of its own noise."""
        if self.fit is None or self.fit.low[1] <= 0 <= self.fit.high[1]:
            return float("nan")
        return self.fit.tau


def fold(readings: Floats, settle_s: float, aperture_s: float) -> Folded | None:
    """Readings (3, n): time in s, current in A, voltage in V, the last ones of a run. None where no two dwells of equal
    length at opposite currents follow each other.

    Each dwell is taken with the one after it: half their sum, each in the sign of its current, is R |I| without what
    the EMF has in common, reading by reading.
    """
    t, I, V = readings
    if len(t) < 2:
        return None
    starts = np.flatnonzero(np.concatenate([[True], np.abs(np.diff(I)) > 1e-3 * np.abs(I).max()]))
    ends = np.concatenate([starts[1:], [len(t)]])
    whole = list(zip(starts.tolist(), ends.tolist(), strict=True))[1:-1]  # the first and the last may be cut
    found: dict[int, list[Floats]] = {}
    times: dict[int, list[Floats]] = {}
    largest = float(np.abs(I).max())
    for (a, b), (c, d) in itertools.pairwise(whole):
        opposite = I[a] * I[c] < 0 and abs(abs(I[a]) - abs(I[c])) < 1e-3 * largest
        if not opposite or b - a != d - c or abs(I[a]) < 0.75 * largest:
            continue
        sign = np.sign(I[a])
        found.setdefault(b - a, []).append(sign * (V[a:b] - V[c:d]) / 2)
        times.setdefault(b - a, []).append((t[a:b] - t[a] + t[c:d] - t[c]) / 2)
    if not found:
        return None
    length = max(found, key=lambda size: size * len(found[size]))
    rows, since = np.array(found[length]), np.array(times[length]).mean(axis=0)
    if len(rows) < _LEAST_PAIRS:
        return None
    offset = rows[:, -1:] - rows
    mean = offset.mean(axis=0)
    u = offset.std(axis=0, ddof=1) / np.sqrt(len(rows))
    since = since + settle_s + aperture_s / 2
    return Folded(since, mean, u, len(rows), _fit(since, mean, float(u.max()), aperture_s))


def _fit(since: Floats, offset: Floats, u: float, aperture_s: float) -> Exponential | None:
    if len(since) < _LEAST_READINGS or not u > 0:
        return None
    gap, length = float(np.diff(since).mean()), float(since[-1])
    begin = since - aperture_s / 2

    def columns(tau_s: float) -> Floats:
        return np.column_stack([np.ones(len(since)), decay(begin, tau_s, aperture_s)])

    return fit_exponential(columns, offset, _SHORTEST * gap, _LONGEST * length)
