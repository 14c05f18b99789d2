"""Blocks from every start reading: the best estimate of R that blocks allow.

The block that starts at a reading is the shortest that determines R (the rule of `blocks`). Their mean is 6 % narrower
than that of consecutive blocks in white noise, 15 % in strong drift of the EMF, and nearly blind to its curvature; but
they share readings, so the interval comes from the slow part of their series (`slow_part`), never from s over root n.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from benchapp.analysis.blocks import VARIANCE_LIMIT

Floats = NDArray[np.float64]
_LONGEST = 2048  # readings of a block; a start that needs more waits for ever
_CHUNK = 16_384  # readings at a time: what is worked on stays in the processor's cache


@dataclass(frozen=True, slots=True)
class SlidingBlocks:
    """R of the block from each start reading in order, and how many readings each holds."""

    resistance_ohm: Floats
    readings: Floats


def sliding_blocks(
    time_s: Floats, current_A: Floats, voltage_V: Floats, *, emf_order: int, middle_A: float
) -> SlidingBlocks:
    """Blocks from all start readings of one stretch without a pause, up to the first that cannot be closed yet."""
    n = len(time_s)
    resistance, size = np.full(n, np.nan), np.zeros(n)
    open_starts = np.arange(n)
    for length in range(emf_order + 2, min(n, _LONGEST) + 1):
        open_starts = open_starts[open_starts + length <= n]
        if not len(open_starts):
            break
        closed = close_windows(open_starts, length, time_s, current_A, voltage_V, emf_order, middle_A)
        done = np.isfinite(closed)
        resistance[open_starts[done]], size[open_starts[done]] = closed[done], length
        open_starts = open_starts[~done]
    unfinished = np.flatnonzero(np.isnan(resistance))
    end = int(unfinished[0]) if len(unfinished) else n
    return SlidingBlocks(resistance[:end], size[:end])


def close_windows(
    starts: NDArray[np.intp],
    length: int,
    time_s: Floats,
    current_A: Floats,
    voltage_V: Floats,
    emf_order: int,
    middle_A: float,
) -> Floats:
    """R of windows of that length where they determine it, NaN elsewhere: `blocks.fit_block` over many windows."""
    if length == 3 and emf_order == 1 and len(starts):
        step = int(starts[1] - starts[0]) if len(starts) > 1 else 1
        if int(starts[-1]) == int(starts[0]) + step * (len(starts) - 1):
            first = int(starts[0])
            views = [
                [column[first + k : first + k + step * (len(starts) - 1) + 1 : step] for k in range(3)]
                for column in (time_s, current_A, voltage_V)
            ]
            return _close_threes(views[0], views[1], views[2], middle_A)
    t, I, V = (sliding_window_view(column, length)[starts] for column in (time_s, current_A, voltage_V))
    tau = t - t.mean(axis=1, keepdims=True)
    tau /= np.maximum(t[:, -1:] - t[:, :1], 1e-300)
    z = I - I.mean(axis=1, keepdims=True)
    basis = []
    if emf_order >= 1:
        basis.append(tau)
    if emf_order == 2:
        square = (tau * tau).sum(axis=1, keepdims=True)
        a = (tau**3).sum(axis=1, keepdims=True) / np.maximum(square, 1e-300)
        basis.append(tau * tau - a * tau - square / length)
    for q in basis:
        qq = (q * q).sum(axis=1, keepdims=True)
        z -= (I * q).sum(axis=1, keepdims=True) / np.maximum(qq, 1e-300) * q
    zz = (z * z).sum(axis=1)
    balanced = ((I - middle_A) ** 2).sum(axis=1)
    good = (zz * VARIANCE_LIMIT >= balanced) & (balanced > 0.01 * (I * I).sum(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(good, (z * V).sum(axis=1) / zz, np.nan)


def _close_threes(t: list[Floats], I: list[Floats], V: list[Floats], middle_A: float) -> Floats:
    """The same for three readings and a linear EMF, in closed form: weights that neither EMF nor drift passes."""
    a, b = t[2] - t[1], t[1] - t[0]
    c = a + b
    swing = a * I[0] - c * I[1] + b * I[2]
    left = a * V[0] - c * V[1] + b * V[2]
    balanced = (I[0] - middle_A) ** 2 + (I[1] - middle_A) ** 2 + (I[2] - middle_A) ** 2
    squared = I[0] * I[0] + I[1] * I[1] + I[2] * I[2]
    with np.errstate(divide="ignore", invalid="ignore"):
        zz = swing * swing / (a * a + c * c + b * b)
        good = (zz * VARIANCE_LIMIT >= balanced) & (balanced > 0.01 * squared)
        return np.where(good, left / swing, np.nan)


class SlidingSeries:
    """The series of sliding blocks of a run that goes on; a pause cuts it, readings are taken up in batches."""

    def __init__(self, emf_order: int, middle_A: float, *, keeps: bool = False) -> None:
        """`keeps`: all values stay available in `kept`, beside their group means."""
        self._order, self._middle_A = emf_order, middle_A
        self._kept: list[Floats] | None = [] if keeps else None
        self._open = np.empty((3, 0))
        self.groups = GroupMeans()
        self.count = 0
        self._reference_ohm = 0.0
        self._sum = 0.0
        self._sizes = 0.0

    @property
    def kept(self) -> Floats:
        """All values so far, where they are kept; empty else."""
        if not self._kept:
            return np.empty(0)
        if len(self._kept) > 1:
            self._kept = [np.concatenate(self._kept)]
        return self._kept[0]

    @property
    def mean_ohm(self) -> float:
        """Mean of all blocks."""
        return self._reference_ohm + self._sum / self.count

    @property
    def mean_readings(self) -> float:
        """Mean number of readings in a block."""
        return self._sizes / self.count if self.count else 0.0

    def extend(self, time_s: Floats, current_A: Floats, voltage_V: Floats) -> None:
        """Keep readings until the next `update`."""
        added = np.stack([time_s, current_A, voltage_V])
        self._open = np.concatenate([self._open, added], axis=1) if self._open.shape[1] else added

    def cut(self) -> None:
        """A pause: what cannot be closed is dropped."""
        self.update()
        self._open = np.empty((3, 0))

    def update(self) -> None:
        """Close what can be closed."""
        while self._open.shape[1] >= self._order + 2:
            found = sliding_blocks(*self._open[:, :_CHUNK], emf_order=self._order, middle_A=self._middle_A)
            closed = len(found.resistance_ohm)
            if not closed:
                return
            self._take(found)
            self._open = self._open[:, closed:]
            if self._open.shape[1] < _CHUNK:
                return

    def _take(self, found: SlidingBlocks) -> None:
        if self._kept is not None:
            self._kept.append(found.resistance_ohm)
        values = found.resistance_ohm
        if not self.count:
            self._reference_ohm = float(values[0])
        # Added up in order, so that a replay in one piece gives the same bits as the run in many.
        self._sum = float(np.cumsum(np.concatenate([[self._sum], values - self._reference_ohm]))[-1])
        self.count += len(values)
        self._sizes += float(found.readings.sum())
        self.groups.extend(found.resistance_ohm)


class GroupMeans:
    """A series of any length as 512 to 1024 means of equal groups; shorter series stand whole."""

    LIMIT = 1024

    def __init__(self) -> None:
        self.group = 1
        self._values = np.empty(self.LIMIT)
        self._count = 0
        self._rest: Floats = np.empty(0)

    @property
    def values(self) -> Floats:
        """The means; what fills no group yet is not in."""
        return self._values[: self._count]

    def extend(self, values: Floats) -> None:
        """Add values."""
        rest = np.concatenate([self._rest, values])
        while len(rest) >= self.group:
            room = min(len(rest) // self.group, self.LIMIT - self._count)
            taken = rest[: room * self.group].reshape(room, self.group).mean(axis=1)
            self._values[self._count : self._count + room] = taken
            self._count += room
            rest = rest[room * self.group :]
            if self._count == self.LIMIT:
                self._values[: self.LIMIT // 2] = self._values.reshape(-1, 2).mean(axis=1)
                self._count //= 2
                self.group *= 2
        self._rest = rest
