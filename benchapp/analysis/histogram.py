"""A histogram that grows with a run: its bins double in width when values fall outside them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.running import Moments

_BINS = 64
_FIRST = 5  # values that set the first bins
Floats = NDArray[np.float64]


class GrowingHistogram:
    """`edges` and `counts` of equal bins of `width`; the moments of all values beside them."""

    def __init__(self) -> None:
        self._early: list[float] = []
        self._moments = Moments()
        self.low = 0.0
        self.width = 0.0
        self.counts: NDArray[np.int64] = np.zeros(_BINS, dtype=np.int64)

    @property
    def total(self) -> int:
        """Values so far."""
        return self._moments.count

    @property
    def edges(self) -> Floats:
        """Lower edges of the bins, and the upper edge of the last."""
        return self.low + self.width * np.arange(len(self.counts) + 1, dtype=np.float64)

    def extend(self, values: Floats) -> None:
        """Add values."""
        for value in values.tolist():
            self._moments.push(float(self._moments.count), value)
        if self.width == 0.0:
            self._early += values.tolist()
            if len(self._early) < _FIRST:
                return
            values = np.array(self._early)
            spread = float(values.max() - values.min()) or abs(float(values[0])) * 1e-6 or 1e-12
            self.width = spread / 8
            self.low = float(values.min()) - self.width * _BINS / 3
            self._early = []
        while values.min() < self.low or values.max() >= self.low + self.width * _BINS:
            self._double(up=bool(values.max() >= self.low + self.width * _BINS))
        places = ((values - self.low) / self.width).astype(int)
        np.add.at(self.counts, places, 1)

    def _double(self, *, up: bool) -> None:
        """Twice the width, with the room gained above or below."""
        if not up:
            self.low -= self.width * _BINS
        pairs = self.counts.reshape(-1, 2).sum(axis=1)
        empty = np.zeros(_BINS // 2, dtype=np.int64)
        self.counts = np.concatenate([pairs, empty] if up else [empty, pairs])
        self.width *= 2

    def normal_curve(self) -> tuple[Floats, Floats]:
        """Values and expected counts a bin of the normal distribution with the same mean and deviation."""
        mean, s = self._moments.mean, self._moments.standard_deviation
        x = np.linspace(mean - 4 * s, mean + 4 * s, 61)
        return x, self.normal_peak() * np.exp(-0.5 * ((x - mean) / (s or 1.0)) ** 2)

    def normal_peak(self) -> float:
        """Expected count of a bin at the mean."""
        s = self._moments.standard_deviation
        return self.total * self.width / (s * math.sqrt(2 * math.pi)) if s > 0 else float(self.counts.max())
