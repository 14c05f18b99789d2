"""Is there a signal, with the sign it should have, and finer than the voltmeter's last digit?"""

from __future__ import annotations

import numpy as np

from benchapp.analysis.traps.run_data import Floats, RunData, robust_deviation

_TIES = 0.4
_SLIP_SPREAD = 0.15
_SLIP_RATIO = 30.0
_WINDOW = 8
_NOTHING = 2.5  # times U: by chance nothing lies further out in one run of ten thousand


def tied_share(run: RunData) -> float:
    """Share of readings that equal the one a sign period later to the last bit."""
    if not run.period or len(run.voltage_V) <= run.period:
        return 0.0
    return float(np.mean(run.voltage_V[run.period :] == run.voltage_V[: -run.period]))


def is_tied(run: RunData) -> bool:
    """Whether the voltmeter's resolution, or a clipped input, hides the noise."""
    return tied_share(run) > _TIES


def relative_spread(run: RunData) -> float:
    """K: the blocks' robust deviation of |R| over its median."""
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
    """Eight readings that the signs of one reading earlier explain thirty times better than their own."""
    I, n = run.current_A, len(run.current_A)
    for start in range(1, n - _WINDOW + 1, 4):
        here = slice(start, start + _WINDOW)
        own = _rest(I[here], run.time_s[here], run.voltage_V[here])
        earlier = _rest(I[start - 1 : start - 1 + _WINDOW], run.time_s[here], run.voltage_V[here])
        if own > _SLIP_RATIO * earlier > 0:
            return start
    return None


def _rest(current: Floats, time_s: Floats, voltage: Floats) -> float:
    design = np.column_stack([current, np.ones(len(current)), time_s - time_s.mean()])
    solution = np.linalg.lstsq(design, voltage, rcond=None)[0]
    return float(np.sum((voltage - design @ solution) ** 2))


def is_reversed(run: RunData) -> bool:
    """Whether the resistance is negative beyond doubt."""
    return run.resistance_ohm < 0 and abs(run.resistance_ohm) >= _NOTHING * run.half_width_ohm


def has_no_signal(run: RunData) -> bool:
    """Whether nothing follows the current: an open lead."""
    return abs(run.resistance_ohm) < _NOTHING * run.half_width_ohm and relative_spread(run) > 0.3
