"""Running statistics: everything the result needs, in constant work a reading.

Means and sums of squares are carried in Welford's form, about the running mean, because the wanted scatter may be a
millionth of the value (NIST StRD's NumAcc sets fail otherwise).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Moments:
    """Mean, variance and regression on time of a stream y(t)."""

    __slots__ = ("count", "mean", "mean_time_s", "sum_square", "sum_time_square", "sum_time_value")

    def __init__(self) -> None:
        self.count = 0
        self.mean = 0.0
        self.mean_time_s = 0.0
        self.sum_square = 0.0
        self.sum_time_square = 0.0
        self.sum_time_value = 0.0

    def push(self, time_s: float, value: float) -> None:
        """Add one point."""
        self.count += 1
        n = self.count
        dt, dy = time_s - self.mean_time_s, value - self.mean
        self.mean_time_s += dt / n
        self.mean += dy / n
        new_dt = time_s - self.mean_time_s
        self.sum_square += dy * (value - self.mean)
        self.sum_time_square += dt * new_dt
        self.sum_time_value += dy * new_dt

    def extend(self, time_s: Floats, value: Floats) -> None:
        """Add many points at once: their own moments, merged (Chan, Golub and LeVeque 1979, cited from memory)."""
        m = len(value)
        if not m:
            return
        n, both = self.count, self.count + m
        mean_t, mean_y = float(time_s.mean()), float(value.mean())
        t, y = time_s - mean_t, value - mean_y
        dt, dy = mean_t - self.mean_time_s, mean_y - self.mean
        weight = n * m / both
        self.sum_square += float(y @ y) + dy * dy * weight
        self.sum_time_square += float(t @ t) + dt * dt * weight
        self.sum_time_value += float(t @ y) + dt * dy * weight
        self.mean_time_s += dt * m / both
        self.mean += dy * m / both
        self.count = both

    @property
    def standard_deviation(self) -> float:
        """Experimental standard deviation (n - 1); NaN below two points."""
        return math.sqrt(self.sum_square / (self.count - 1)) if self.count > 1 else math.nan

    @property
    def standard_uncertainty(self) -> float:
        """Experimental standard deviation of the mean (JCGM 100:2008, 4.2.3); NaN below two points."""
        return self.standard_deviation / math.sqrt(self.count) if self.count > 1 else math.nan

    @property
    def slope_per_s(self) -> float:
        """Least-squares slope; NaN where there is none."""
        return self.sum_time_value / self.sum_time_square if self.sum_time_square > 0 else math.nan

    @property
    def slope_standard_uncertainty_per_s(self) -> float:
        """Standard uncertainty of the slope from the residuals, n - 2 degrees of freedom; NaN below three points."""
        if self.count < 3 or self.sum_time_square <= 0:
            return math.nan
        rest = max(0.0, self.sum_square - self.sum_time_value**2 / self.sum_time_square)
        return math.sqrt(rest / (self.count - 2) / self.sum_time_square)


class PairedMoments:
    """Regression sums of voltage and current on time, from which the EMF V - R*I follows for any R."""

    __slots__ = ("_sti", "_stt", "_stv", "count", "mean_current_A", "mean_time_s", "mean_voltage_V")

    def __init__(self) -> None:
        self.count = 0
        self.mean_time_s = self.mean_current_A = self.mean_voltage_V = 0.0
        self._stt = self._sti = self._stv = 0.0

    def extend(self, time_s: Floats, current_A: Floats, voltage_V: Floats) -> None:
        """Add many readings at once."""
        m = len(time_s)
        if not m:
            return
        n, both = self.count, self.count + m
        means = [float(column.mean()) for column in (time_s, current_A, voltage_V)]
        dt, di, dv = means[0] - self.mean_time_s, means[1] - self.mean_current_A, means[2] - self.mean_voltage_V
        t, weight = time_s - means[0], n * m / both
        self._stt += float(t @ t) + dt * dt * weight
        self._sti += float(t @ (current_A - means[1])) + dt * di * weight
        self._stv += float(t @ (voltage_V - means[2])) + dt * dv * weight
        self.mean_time_s += dt * m / both
        self.mean_current_A += di * m / both
        self.mean_voltage_V += dv * m / both
        self.count = both

    def thermal_emf(self, resistance_ohm: float) -> tuple[float, float]:
        """Thermal EMF in V at the mean time of the readings, and its slope in V/s."""
        emf = self.mean_voltage_V - resistance_ohm * self.mean_current_A
        slope = (self._stv - resistance_ohm * self._sti) / self._stt if self._stt > 0 else math.nan
        return emf, slope


class CompactSeries:
    """A series of any length as 64 to 128 means of equal groups, for questions about its shape."""

    _LIMIT = 128

    def __init__(self) -> None:
        self.group = 1
        self.values: list[float] = []
        self._rest: Floats = np.empty(0)

    def extend(self, values: Floats) -> None:
        """Add values."""
        rest = np.concatenate([self._rest, values])
        while len(rest) >= self.group:
            room = min(len(rest) // self.group, self._LIMIT - len(self.values))
            taken = rest[: room * self.group].reshape(room, self.group).mean(axis=1)
            self.values += taken.tolist()
            rest = rest[room * self.group :]
            if len(self.values) == self._LIMIT:
                self.values = [(a + b) / 2 for a, b in zip(self.values[::2], self.values[1::2], strict=True)]
                self.group *= 2
        self._rest = rest


class SparseSample:
    """Some hundreds to some thousands of a stream's values, evenly taken however long it is."""

    _LIMIT = 2048

    def __init__(self) -> None:
        self._every = 1
        self._seen = 0
        self._kept: list[float] = []

    @property
    def values(self) -> Floats:
        """What was kept."""
        return np.array(self._kept)

    def extend(self, values: Floats) -> None:
        """Take values."""
        first = -self._seen % self._every
        self._kept += values[first :: self._every].tolist()
        self._seen += len(values)
        while len(self._kept) >= self._LIMIT:
            self._kept = self._kept[::2]
            self._every *= 2
