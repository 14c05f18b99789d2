"""Consecutive blocks of a long, regular run at once, where reading by reading would take seconds.

Regular means: signs with a period, no pause, and blocks of one length throughout. Whether that is so is checked, block
by block, by the rule that `blocks` closes them by; a run that is not regular is left to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.blocks import BlockFormer
from benchapp.analysis.levels import changes, sign_period
from benchapp.analysis.sliding import close_windows

Floats = NDArray[np.float64]
_SAMPLE = 2000  # readings that are formed one by one, to see how long blocks are
_GAP = 5.0
_CHUNK = 16_384


@dataclass(frozen=True, slots=True)
class RegularBlocks:
    """Columns of blocks, as `blocks.Block` has them."""

    time_s: Floats
    resistance_ohm: Floats
    thermal_emf_V: Floats
    sensitivity_per_A: Floats
    readings: int


def regular_blocks(
    time_s: Floats, current_A: Floats, voltage_V: Floats, order: int, middle_A: float
) -> RegularBlocks | None:
    """All consecutive blocks; None where the run is not regular, or its EMF is of second order."""
    if order > 1 or not sign_period(current_A) or _has_gap(time_s, current_A):
        return None
    length = _common_length(time_s, current_A, voltage_V, order, middle_A)
    if not length:
        return None
    starts = np.arange(0, len(time_s) - length + 1, length)
    parts = []
    for first in range(0, len(starts), _CHUNK):
        some = starts[first : first + _CHUNK]
        for shorter in range(order + 2, length):
            if np.isfinite(close_windows(some, shorter, time_s, current_A, voltage_V, order, middle_A)).any():
                return None
        R = close_windows(some, length, time_s, current_A, voltage_V, order, middle_A)
        if not np.isfinite(R).all():
            return None
        parts.append(R)
    return _columns(time_s, current_A, voltage_V, np.concatenate(parts), length, order)


def _columns(t: Floats, I: Floats, V: Floats, R: Floats, length: int, order: int) -> RegularBlocks:
    used = len(R) * length
    t, I, V = (column[:used].reshape(-1, length) for column in (t, I, V))
    mean_time = t.mean(axis=1)
    z = I - I.mean(axis=1, keepdims=True)
    if order == 1:
        tau = t - mean_time[:, None]
        z -= (I * tau).sum(axis=1, keepdims=True) / (tau * tau).sum(axis=1, keepdims=True) * tau
    emf = (V - R[:, None] * I).mean(axis=1)
    return RegularBlocks(mean_time, R, emf, 1 / np.sqrt((z * z).sum(axis=1)), length)


def _common_length(t: Floats, I: Floats, V: Floats, order: int, middle_A: float) -> int:
    """The length of the first blocks; 0 where they have several or none."""
    former, lengths = BlockFormer(order, middle_A), set()
    for reading in zip(t[:_SAMPLE].tolist(), I[:_SAMPLE].tolist(), V[:_SAMPLE].tolist(), strict=True):
        block = former.push(*reading)
        if block is not None:
            lengths.add(block.readings)
    return lengths.pop() if len(lengths) == 1 else 0


def _has_gap(t: Floats, I: Floats) -> bool:
    """A step of more than five times the mean of those before it, of its kind: the rule of `BlockFormer`."""
    steps, changed = np.diff(t), changes(I)
    for kind in (changed, ~changed):
        of_kind = steps[kind]
        if len(of_kind) > 3:
            before = np.cumsum(of_kind) / np.arange(1, len(of_kind) + 1)
            if (of_kind[3:] > _GAP * before[2:-1]).any():
                return True
    return False
