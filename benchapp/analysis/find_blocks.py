"""The consecutive blocks of a whole run: at once where it is regular, reading by reading elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.regular import regular_blocks
from benchapp.analysis.running_blocks import OVERLOAD_V, ClosedBlock, RunningBlocks
from benchapp.analysis.student import coverage_factors

Floats = NDArray[np.float64]
_WIDTH = len(ClosedBlock._fields)
_LEAST_AT_ONCE = 64


def find_blocks(
    readings: Floats, *, emf_order: int, middle_A: float, pauses: Sequence[int] = ()
) -> tuple[Floats, list[int]]:
    """Columns of ClosedBlock, and the indices of readings before which the sequence is cut: pauses and gaps.

    `readings` as (3, n). Both ways give the same blocks, and the same numbers but for the rounding of sums.
    """
    if readings.shape[1] >= _LEAST_AT_ONCE and not pauses and bool((np.abs(readings[2]) < OVERLOAD_V).all()):
        found = regular_blocks(readings[0], readings[1], readings[2], emf_order, middle_A)
        if found is not None:
            R = found.resistance_ohm
            columns = [found.time_s, R, found.thermal_emf_V, *_running(R), np.full(len(R), float(found.readings))]
            return np.stack([*columns, found.sensitivity_per_A]), []
    return _one_by_one(readings, emf_order, middle_A, pauses)


def _one_by_one(readings: Floats, emf_order: int, middle_A: float, pauses: Sequence[int]) -> tuple[Floats, list[int]]:
    running, first_after_pause = RunningBlocks(emf_order, middle_A), set(pauses)
    blocks: list[ClosedBlock] = []
    cuts = list(pauses)
    for index, reading in enumerate(readings.T.tolist()):
        if index in first_after_pause:
            running.pause()
        block = running.push(*reading)
        if running.was_cut:
            cuts.append(index)
        if block is not None:
            blocks.append(block)
    return block_columns(blocks), sorted(set(cuts))


def block_columns(blocks: Sequence[ClosedBlock]) -> Floats:
    """Closed blocks as columns."""
    numbers = np.fromiter(chain.from_iterable(blocks), dtype=float, count=_WIDTH * len(blocks))
    return numbers.reshape(-1, _WIDTH).T


def _running(R: Floats) -> tuple[Floats, Floats]:
    """Mean and half-width of the 95 % interval after each block, by running sums about the first block."""
    n = np.arange(1.0, len(R) + 1)
    about = R - R[0]
    mean = np.cumsum(about) / n
    half = np.full(len(R), np.nan)
    if len(R) > 1:
        square = np.maximum(np.cumsum(about * about) - n * mean * mean, 0.0)
        half[1:] = np.sqrt(square[1:] / (n[1:] - 1) / n[1:]) * coverage_factors(len(R) - 1)
    return R[0] + mean, half
