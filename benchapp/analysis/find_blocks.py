"""The consecutive blocks of a whole run: at once where it is regular, reading by reading elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain, pairwise

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.regular import regular_blocks
from benchapp.analysis.running_blocks import OVERLOAD_V, ClosedBlock, RunningBlocks
from benchapp.analysis.student import coverage_factors

Floats = NDArray[np.float64]
_WIDTH = len(ClosedBlock._fields)
_R, _MEAN, _HALF = (ClosedBlock._fields.index(name) for name in ("resistance_ohm", "mean_ohm", "half_width_ohm"))
_LEAST_AT_ONCE = 64


def find_blocks(
    readings: Floats, *, emf_order: int, middle_A: float, pauses: Sequence[int] = ()
) -> tuple[Floats, list[int]]:
    """Columns of ClosedBlock, and the indices of readings before which the sequence is cut: pauses and gaps.

    `readings` as (3, n). Both ways give the same blocks, and the same numbers but for the rounding of sums.
    """
    edges = sorted({0, *(pause for pause in pauses if 0 < pause < readings.shape[1]), readings.shape[1]})
    parts, cuts = [], list(pauses)
    for start, end in pairwise(edges):
        stretch = readings[:, start:end]
        at_once = _at_once(stretch, emf_order, middle_A)
        if at_once is None:
            at_once, gaps = _one_by_one(stretch, emf_order, middle_A)
            cuts += [start + gap for gap in gaps]
        parts.append(at_once)
    blocks = np.concatenate(parts, axis=1) if parts else np.empty((_WIDTH, 0))
    if len(parts) > 1:
        blocks[_MEAN], blocks[_HALF] = _running(blocks[_R])
    return blocks, sorted(set(cuts))


def _at_once(readings: Floats, emf_order: int, middle_A: float) -> Floats | None:
    if readings.shape[1] < _LEAST_AT_ONCE or not bool((np.abs(readings[2]) < OVERLOAD_V).all()):
        return None
    found = regular_blocks(readings[0], readings[1], readings[2], emf_order, middle_A)
    if found is None:
        return None
    R = found.resistance_ohm
    columns = [found.time_s, R, found.thermal_emf_V, *_running(R), np.full(len(R), float(found.readings))]
    return np.stack([*columns, found.sensitivity_per_A])


def _one_by_one(readings: Floats, emf_order: int, middle_A: float) -> tuple[Floats, list[int]]:
    running = RunningBlocks(emf_order, middle_A)
    blocks: list[ClosedBlock] = []
    cuts = []
    for index, reading in enumerate(readings.T.tolist()):
        block = running.push(*reading)
        if running.was_cut:
            cuts.append(index)
        if block is not None:
            blocks.append(block)
    return block_columns(blocks), cuts


def block_columns(blocks: Sequence[ClosedBlock]) -> Floats:
    """Closed blocks as columns."""
    numbers = np.fromiter(chain.from_iterable(blocks), dtype=float, count=_WIDTH * len(blocks))
    return numbers.reshape(-1, _WIDTH).T


def _running(R: Floats) -> tuple[Floats, Floats]:
    """Mean and half-width of the 95 % interval after each block, by running sums about the first block."""
    n = np.arange(1.0, len(R) + 1)
    if not len(R):
        return R, R
    about = R - R[0]
    mean = np.cumsum(about) / n
    half = np.full(len(R), np.nan)
    if len(R) > 1:
        square = np.maximum(np.cumsum(about * about) - n * mean * mean, 0.0)
        half[1:] = np.sqrt(square[1:] / (n[1:] - 1) / n[1:]) * coverage_factors(len(R) - 1)
    return R[0] + mean, half
