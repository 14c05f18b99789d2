"""Is there a signal, with the sign it should have, and finer than the voltmeter's last digit?"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from benchapp.analysis.traps.run_data import Floats, RunData, robust_deviation

_TIES = 0.4
_SLIP_SPREAD = 0.15
_SLIP_RATIO = 30.0
_WINDOW = 8
_FEW = 30
_AGREE = 0.1
_NOTHING = 2.5  # times U: by chance nothing lies further out in one run of ten thousand


def tied_share(run: RunData) -> float:
    """Share of readings that equal the one a sign period later to the last bit; without one, the next of its sign."""
    if not run.period or len(run.voltage_V) <= run.period:
        signs = np.sign(run.current_A)
        equal = [np.diff(run.voltage_V[signs == sign]) == 0 for sign in (1.0, -1.0)]
        return float(np.concatenate(equal).mean()) if sum(map(len, equal)) else 0.0
    return float(np.mean(run.voltage_V[run.period :] == run.voltage_V[: -run.period]))


def is_tied(run: RunData) -> bool:
    """Whether the voltmeter's resolution, or a clipped input, hides the noise."""
    return tied_share(run) > _TIES


def relative_spread(run: RunData) -> float:
    """K: the blocks' robust deviation of |R| over its median; of few blocks their plain deviation over the mean."""
    if len(run.block_ohm) < _FEW:
        mean = abs(float(run.block_ohm.mean()))
        return float(run.block_ohm.std(ddof=1)) / mean if mean > 0 else np.inf
    size = np.abs(run.block_ohm)
    middle = float(np.median(size))
    return robust_deviation(size) / middle if middle > 0 else np.inf


def has_slipped(run: RunData) -> bool:
    """Whether readings and signs have come out of step for a part of the run."""
    if run.alternating:
        half = 0.5 * float(np.median(np.abs(run.block_ohm)))
        both = bool((run.block_ohm > half).any() and (run.block_ohm < -half).any())
        return both and relative_spread(run) < _SLIP_SPREAD
    return _slipped_windows(run)


def slip_start(run: RunData) -> int | None:
    """The reading from which on the signs are out of step; None where it cannot be told."""
    if not run.alternating:
        return _slipped_window(run)
    wrong = run.block_ohm * float(np.median(run.block_ohm)) < 0
    if not wrong.any():
        return None
    # Blocks lie evenly over the run: where the first wrong one lies among them, it lies among the readings.
    return int(np.argmax(wrong) * len(run.voltage_V) // len(run.block_ohm))


def _slipped_windows(run: RunData) -> bool:
    return _slipped_window(run) is not None


def _slipped_window(run: RunData) -> int | None:
    """Eight readings that the signs of one reading earlier explain thirty times better than their own.

    Only windows are asked in which more is left over than usual: a slip leaves as much as the signal itself.
    """
    I, t, V, n = run.current_A, run.time_s, run.voltage_V, len(run.current_A)
    if n <= _WINDOW:
        return None
    starts = np.arange(1, n - _WINDOW + 1, 4)
    own = _rests(I, t, V, starts, 0)
    for place in np.flatnonzero(own > _SLIP_RATIO * float(np.median(own)) * 0.5 if len(own) > 64 else own > 0):
        start = int(starts[place])
        earlier = float(_rests(I, t, V, starts[place : place + 1], -1)[0])
        if own[place] > _SLIP_RATIO * earlier > 0:
            return start
    return None


def _rests(I: Floats, t: Floats, V: Floats, starts: NDArray[np.intp], shift: int) -> Floats:
    """Square sums that a fit of current, constant and line leaves of windows; the current `shift` readings later."""
    i, when, v = (
        sliding_window_view(column, _WINDOW)[places]
        for column, places in ((I, starts + shift), (t, starts), (V, starts))
    )
    when = when - when.mean(axis=1, keepdims=True)
    when /= np.maximum(np.sqrt((when * when).sum(axis=1, keepdims=True)), 1e-300)
    left = []
    for column in (i, v):
        column = column - column.mean(axis=1, keepdims=True)
        left.append(column - (column * when).sum(axis=1, keepdims=True) * when)
    i, v = left
    ii = (i * i).sum(axis=1)
    share = np.where(ii > 0, (i * v).sum(axis=1) / np.maximum(ii, 1e-300), 0.0)
    v = v - share[:, None] * i
    rests: Floats = (v * v).sum(axis=1)
    return rests


def is_reversed(run: RunData) -> bool:
    """Whether the resistance is negative beyond doubt: far from 0, or with blocks that agree on it."""
    far = abs(run.resistance_ohm) >= _NOTHING * run.half_width_ohm
    return run.resistance_ohm < 0 and (far or relative_spread(run) < _AGREE)


def has_no_signal(run: RunData) -> bool:
    """Whether nothing follows the current: an open lead."""
    return abs(run.resistance_ohm) < _NOTHING * run.half_width_ohm and relative_spread(run) > 0.3
