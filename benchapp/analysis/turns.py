"""Parts on a scanner, connected in turns within one run: the value of each, and its ratio to a standard.

A turn is one number here, its R: between two turns contacts have moved and temperatures too, so that only what the
turns differ by says how well the next one would agree.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.comparison import MAX_DRIFT_ORDER, Ratio, drift_design
from benchapp.analysis.student import coverage_factor

LEAST_TURNS = 5  # of one part; with fewer, Student's t makes an interval of little use
Floats = NDArray[np.float64]


class PartReadings(NamedTuple):
    """Which readings are of a part: their indices, and places among them where a turn begins, or a pause ended."""

    name: str
    indices: NDArray[np.intp]
    turns: tuple[int, ...]
    pauses: tuple[int, ...]


class TurnValue(NamedTuple):
    """The mean time of a turn and its R."""

    time_s: float
    resistance_ohm: float


def parts_in(starts: Sequence[tuple[int, str]], count: int, pauses: Sequence[int] = ()) -> list[PartReadings]:
    """`starts`: from which reading on which part was connected. Parts in the order in which they came first."""
    of_part: dict[str, list[NDArray[np.intp]]] = {}
    ends = [*(first for first, _ in starts[1:]), count][: len(starts)]
    for (first, name), end in zip(starts, ends, strict=True):
        of_part.setdefault(name, [])
        if end > first:
            of_part[name].append(np.arange(first, end))
    found = []
    for name, stretches in of_part.items():
        indices = np.concatenate(stretches) if stretches else np.empty(0, dtype=np.intp)
        lengths = [len(stretch) for stretch in stretches]
        turns = tuple(int(first) for first in np.concatenate([[0], np.cumsum(lengths)[:-1]])) if lengths else ()
        own = np.isin(np.asarray(pauses, dtype=np.intp), indices)
        paused = np.searchsorted(indices, np.asarray(pauses, dtype=np.intp)[own])
        found.append(PartReadings(name, indices, turns, tuple(sorted({*turns, *map(int, paused)}))))
    return found


def without(part: PartReadings, kept: NDArray[np.bool_]) -> PartReadings:
    """The part without the readings of the run that are not kept; what is missing counts as a pause."""
    own = kept[part.indices]
    if own.all():
        return part
    gone = np.flatnonzero(~own).tolist()
    turns = sorted({int(own[:first].sum()) for first in part.turns})
    pauses = sorted({int(own[:first].sum()) for first in [*part.pauses, *gone]})
    return PartReadings(part.name, part.indices[own], tuple(turns), tuple(pauses))


def turn_values(
    readings: Floats, part: PartReadings, resistance_ohm: Callable[[Floats, list[int]], float]
) -> list[TurnValue]:
    """R of each turn of a part that was read in full, or nearly. `readings` (3, n) are the part's own, time first;
    `resistance_ohm` gives R of a stretch of them, with the places of pauses in it.
    """
    if not part.turns:
        return []
    ends = [*part.turns[1:], readings.shape[1]]
    longest = max((end - first for first, end in zip(part.turns, ends, strict=True)))
    found = []
    for first, end in zip(part.turns, ends, strict=True):
        if end - first < longest / 2:
            continue
        stretch = readings[:, first:end]
        R = resistance_ohm(stretch, [place - first for place in part.pauses if first < place < end])
        if math.isfinite(R):
            found.append(TurnValue(float(stretch[0].mean()), R))
    return found


class TurnMean(NamedTuple):
    """Mean R of a part's turns in ohm, its standard uncertainty and degrees of freedom."""

    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: float


def mean_of_turns(resistance_ohm: Sequence[float] | Floats) -> TurnMean | None:
    """From the scatter of the turns; None where there are fewer than LEAST_TURNS."""
    R = np.asarray(resistance_ohm, dtype=float)
    if len(R) < LEAST_TURNS or not np.isfinite(R).all():
        return None
    return TurnMean(float(R.mean()), float(R.std(ddof=1)) / math.sqrt(len(R)), len(R) - 1)


def ratio_in_turns(time_s: Sequence[float] | Floats, of_standard: Sequence[bool], R_ohm: Sequence[float]) -> Ratio:
    """R_X / R_S of two parts in turns, S first and last, whatever drifts for both alike up to second order.

    ln R follows a polynomial in time and is lower for the standard by ln(R_X / R_S), by least squares. Standard and
    unknown scatter by as much as each of them does: the residuals of either give a variance, with as many degrees of
    freedom as the fit leaves to them, and Welch and Satterthwaite (JCGM 100:2008, G.4) put them together. A drift that
    no polynomial follows stays in the residuals, and makes the interval wider. Raises ValueError where a value is not
    positive or the turns are too few.
    """
    t, R = np.asarray(time_s, dtype=float), np.asarray(R_ohm, dtype=float)
    standard = np.asarray(of_standard, dtype=bool)
    if not (np.isfinite(R).all() and (R > 0).all()):
        raise ValueError("a comparison needs a positive value of each turn; look at leads and connections")
    design, span = drift_design(t, standard, MAX_DRIFT_ORDER)
    solving = np.linalg.pinv(design)
    free = 1 - np.einsum("ij,ji->i", design, solving)  # of each turn, what the fit does not take
    if len(R) <= design.shape[1] or min(free[standard].sum(), free[~standard].sum()) < _LEAST_FREE:
        raise ValueError("too few turns to tell the ratio from a drift; measure more rounds")
    solution = solving @ np.log(R)
    rest = np.log(R) - design @ solution
    variance = quartic = 0.0
    for group in (standard, ~standard):
        degrees = float(free[group].sum())
        part = float(rest[group] @ rest[group]) / degrees * float(solving[0, group] @ solving[0, group])
        variance += part
        quartic += part * part / degrees
    ratio = math.exp(float(solution[0]))
    u, nu = math.sqrt(variance), (variance * variance / quartic if quartic > 0 else math.inf)
    drift = float(solution[2]) / span if span > 0 else 0.0
    return Ratio(ratio, ratio * u, nu, drift, MAX_DRIFT_ORDER, sees_scatter=True)


_LEAST_FREE = 0.5
_SURE = 0.999


def ratio_moves(time_s: Sequence[float] | Floats, of_standard: Sequence[bool], R_ohm: Sequence[float]) -> float:
    """By how much of itself the ratio changed from the first to the last turn, beside what drifts for both alike; 0
    where the turns do not show that it did. The values are those of `ratio_in_turns`.
    """
    t, standard = np.asarray(time_s, dtype=float), np.asarray(of_standard, dtype=bool)
    design, span = drift_design(t, standard, MAX_DRIFT_ORDER)
    own = design[:, 0] * (t - t[~standard].mean()) / span
    wider = np.column_stack([own, design])
    free = len(t) - wider.shape[1]
    if free < 1 or np.linalg.matrix_rank(wider) < wider.shape[1]:
        return 0.0
    y = np.log(np.asarray(R_ohm, dtype=float))
    solving = np.linalg.pinv(wider)
    solution = solving @ y
    rest = y - wider @ solution
    u = math.sqrt(float(rest @ rest) / free * float(solving[0] @ solving[0]))
    moved = float(solution[0])
    return moved if abs(moved) > coverage_factor(free, _SURE) * u else 0.0
