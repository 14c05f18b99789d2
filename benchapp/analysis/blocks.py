"""Readings to blocks: the shortest stretch of readings that gives R free of the thermal EMF.

A reading is V = R*I(t) + E(t) + noise, with E(t) a polynomial of order p over one block. Least squares with the true
times and currents gives R; by the Frisch-Waugh theorem that is the part of I orthogonal to the polynomial, z, in
R = z.V / z.z, with variance sigma^2 / z.z. No sign sequence is needed: the currents tell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

from benchapp.analysis.levels import is_change

MAX_EMF_ORDER = 2
# A block closes once var(R) is at most this many times that of as many readings with balanced signs and no EMF. The
# 1 % on top keeps "+-" at order 2, whose four readings stand at exactly 1.25, together when the time stamps jitter.
VARIANCE_LIMIT = 1.25 * 1.01
# A current that only jitters about one level determines nothing: its swing squared must be more than this part of the
# current squared.
_SMALLEST_SWING = 0.01
_GAP = 5.0  # a step so many times the usual one is a pause


@dataclass(frozen=True, slots=True)
class Block:
    """R from readings that no other block uses.

    `thermal_emf_V` holds at `time_s`, the mean time of the block's readings. The standard deviation of
    `resistance_ohm` in white noise of sigma volts a reading is sigma * `sensitivity_per_A`.
    """

    time_s: float
    resistance_ohm: float
    thermal_emf_V: float
    thermal_emf_slope_V_per_s: float
    sensitivity_per_A: float
    readings: int


def middle_of(lowest_A: float, highest_A: float) -> float:
    """The current about which a run is balanced: 0 where it has both signs, else the middle of its two levels."""
    smaller, larger = sorted((abs(lowest_A), abs(highest_A)))
    both_signs = lowest_A < 0 < highest_A and smaller > 0.1 * larger
    return 0.0 if both_signs else (lowest_A + highest_A) / 2


def fit_block(
    time_s: Sequence[float], current_A: Sequence[float], voltage_V: Sequence[float], emf_order: int
) -> Block | None:
    """Least squares over one block, n >= emf_order + 2 readings; None where the currents do not determine R."""
    n = len(time_s)
    mean_time = math.fsum(time_s) / n
    scale = (max(time_s) - min(time_s)) or 1.0
    tau = [(t - mean_time) / scale for t in time_s]
    basis, a, b = _orthogonal_polynomials(tau, emf_order)
    z = list(current_A)
    for q, qq in basis:
        share = sum(map(mul, current_A, q)) / qq
        z = [x - share * y for x, y in zip(z, q, strict=True)]
    zz = sum(map(mul, z, z))
    if len(basis) <= emf_order or zz <= 1e-20 * sum(map(mul, current_A, current_A)):
        return None
    resistance = sum(map(mul, z, voltage_V)) / zz
    emf = [v - resistance * i for v, i in zip(voltage_V, current_A, strict=True)]
    c0, c1, c2 = ([sum(map(mul, emf, q)) / qq for q, qq in basis] + [0.0, 0.0])[:3]
    # At the mean time (tau = 0) the second polynomial is -b with slope -a.
    return Block(mean_time, resistance, c0 - c2 * b, (c1 - c2 * a) / scale, 1 / math.sqrt(zz), n)


def _orthogonal_polynomials(tau: Sequence[float], order: int) -> tuple[list[tuple[list[float], float]], float, float]:
    """1, tau and tau^2 - a*tau - b over readings with mean(tau) = 0, each with its square sum; then a and b.

    Fewer polynomials where the times do not carry them.
    """
    n = len(tau)
    basis = [([1.0] * n, float(n))]
    if order == 0:
        return basis, 0.0, 0.0
    square = sum(map(mul, tau, tau))
    if square < 1e-20:
        return basis, 0.0, 0.0
    basis.append((list(tau), square))
    if order == 1:
        return basis, 0.0, 0.0
    a, b = sum(t * t * t for t in tau) / square, square / n
    second = [t * t - a * t - b for t in tau]
    square = sum(map(mul, second, second))
    if square >= 1e-20:
        basis.append((second, square))
    return basis, a, b


class BlockFormer:
    """Cuts a stream of readings into consecutive blocks; constant work a reading.

    A pause ends the open block unused: `break_block` says so, or a step in time of more than five times the usual one
    of its kind (with or without a change of the current, since settling comes after a change only). Signs are balanced
    about `middle_A` (see `middle_of`).
    """

    def __init__(self, emf_order: int = 1, middle_A: float = 0.0) -> None:
        if not 0 <= emf_order <= MAX_EMF_ORDER:
            raise ValueError(f"emf_order must be 0 to {MAX_EMF_ORDER}, not {emf_order}")
        self._order = emf_order
        self._middle_A = middle_A
        self._usual_step = {False: _RunningMean(), True: _RunningMean()}
        self._last: tuple[float, float] | None = None
        self._largest_A = 0.0
        self.left_out = 0
        self._reset()

    def _reset(self) -> None:
        self._time: list[float] = []
        self._current: list[float] = []
        self._voltage: list[float] = []
        self._moments = [0.0] * (2 * self._order + 1)
        self._mixed = [0.0] * (self._order + 1)
        self._current_squared = 0.0
        self._step = 0.0

    @property
    def order(self) -> int:
        """Order of the EMF within a block."""
        return self._order

    @property
    def middle_A(self) -> float:
        """The current about which signs are balanced."""
        return self._middle_A

    @property
    def open_readings(self) -> int:
        """Readings so far in the block that is not closed yet."""
        return len(self._time)

    def break_block(self) -> None:
        """Drop the open block: the next reading starts a new one."""
        self.left_out += len(self._time)
        self._last = None
        self._reset()

    def push(self, time_s: float, current_A: float, voltage_V: float) -> Block | None:
        """Take one reading; return the block that it closes, if it does."""
        self._largest_A = max(self._largest_A, abs(current_A))
        self._break_at_gap(time_s, current_A)
        self._last = (time_s, current_A)
        self._time.append(time_s)
        self._current.append(current_A)
        self._voltage.append(voltage_V)
        self._add_moments(time_s, current_A)
        if len(self._time) < self._order + 2 or not self._is_determined():
            return None
        block = fit_block(self._time, self._current, self._voltage, self._order)
        if block is not None:
            self._reset()
        return block

    def _break_at_gap(self, time_s: float, current_A: float) -> None:
        if self._last is None:
            return
        step, changed = time_s - self._last[0], is_change(current_A - self._last[1], self._largest_A)
        usual = self._usual_step[changed]
        if usual.count >= 3 and step > _GAP * usual.mean:
            self.break_block()
        else:
            usual.push(step)

    def _add_moments(self, time_s: float, current_A: float) -> None:
        elapsed = time_s - self._time[0]
        if self._step == 0.0:
            self._step = elapsed
        # Written out: this runs for every reading.
        m, b = self._moments, self._mixed
        m[0] += 1.0
        b[0] += current_A
        if self._order:
            tau = elapsed / self._step if self._step else 0.0
            square = tau * tau
            m[1] += tau
            m[2] += square
            b[1] += current_A * tau
            if self._order == 2:
                m[3] += square * tau
                m[4] += square * square
                b[2] += current_A * square
        self._current_squared += current_A * current_A

    def _is_determined(self) -> bool:
        """Whether var(R) is within the limit: the Schur complement z.z of the running normal equations."""
        m, b, middle = self._moments, self._mixed, self._middle_A
        balanced = self._current_squared - 2 * middle * b[0] + m[0] * middle * middle
        if balanced <= _SMALLEST_SWING * self._current_squared:
            return False
        zz = self._current_squared - b[0] * b[0] / m[0]
        if zz * VARIANCE_LIMIT < balanced:  # not even against a constant EMF
            return False
        if self._order >= 1:
            s11 = m[2] - m[1] * m[1] / m[0]
            if s11 <= 0:
                return False
            c1 = b[1] - m[1] * b[0] / m[0]
            zz -= c1 * c1 / s11
            if self._order == 2:
                s12 = m[3] - m[1] * m[2] / m[0]
                s22 = m[4] - m[2] * m[2] / m[0] - s12 * s12 / s11
                if s22 <= 1e-9 * m[4]:
                    return False
                c2 = b[2] - m[2] * b[0] / m[0] - s12 * c1 / s11
                zz -= c2 * c2 / s22
        return zz * VARIANCE_LIMIT >= balanced


class _RunningMean:
    __slots__ = ("count", "mean")

    def __init__(self) -> None:
        self.count = 0
        self.mean = 0.0

    def push(self, value: float) -> None:
        self.count += 1
        self.mean += (value - self.mean) / self.count
