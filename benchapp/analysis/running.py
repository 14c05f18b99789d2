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

    def push(self, time_s: float, current_A: float, voltage_V: float) -> None:
        """Add one reading."""
        self.count += 1
        n = self.count
        dt, di, dv = time_s - self.mean_time_s, current_A - self.mean_current_A, voltage_V - self.mean_voltage_V
        self.mean_time_s += dt / n
        self.mean_current_A += di / n
        self.mean_voltage_V += dv / n
        new_dt = time_s - self.mean_time_s
        self._stt += dt * new_dt
        self._sti += di * new_dt
        self._stv += dv * new_dt

    def take_all(self, time_s: Floats, current_A: Floats, voltage_V: Floats) -> None:
        """All readings of a run at once, instead of `push` for each."""
        self.count = len(time_s)
        self.mean_time_s, self.mean_current_A, self.mean_voltage_V = (
            float(column.mean()) for column in (time_s, current_A, voltage_V)
        )
        dt = time_s - self.mean_time_s
        self._stt = float(dt @ dt)
        self._sti = float(dt @ (current_A - self.mean_current_A))
        self._stv = float(dt @ (voltage_V - self.mean_voltage_V))

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
        self._sum = 0.0
        self._pending = 0

    def push(self, value: float) -> None:
        """Add one value."""
        self._sum += value
        self._pending += 1
        if self._pending < self.group:
            return
        self.values.append(self._sum / self.group)
        self._sum, self._pending = 0.0, 0
        if len(self.values) == self._LIMIT:
            self.values = [(a + b) / 2 for a, b in zip(self.values[::2], self.values[1::2], strict=True)]
            self.group *= 2
