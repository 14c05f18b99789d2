"""An unknown resistor against a standard by ratio, measured in turns: the source's accuracy and its drift fall out.

Both carry the same current. The logarithms of the values follow a polynomial in time, common to both (drift of the
current and of the voltmeter's gain), and the standard's lie lower by ln(R_X / R_S); least squares over all turns gives
that difference free of the drift, as the order X S S X does by hand. What the turns say of their own uncertainty is
carried through it, each with its degrees of freedom (Welch and Satterthwaite, JCGM 100:2008, G.4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.student import chi_square_quantile, coverage_factor

MAX_DRIFT_ORDER = 2
_SCATTERS = 0.99  # of chi-square: beyond it the turns scatter by more than they say


@dataclass(frozen=True, slots=True)
class Turn:
    """One measured value: at which time, whether of the standard, and R with its standard uncertainty in ohm."""

    time_s: float
    of_standard: bool
    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Ratio:
    """R_X / R_S with its standard uncertainty and degrees of freedom, and the drift that was taken out.

    `drift_order` is that of the polynomial; `sees_curvature` says whether a curved drift would have been taken out.
    `sees_scatter`: whether turns are left over that show the scatter of connecting; `scatters`: whether they do by more
    than the turns say of themselves, which then counts.
    """

    ratio: float
    standard_uncertainty: float
    degrees_of_freedom: float
    drift_per_s: float
    drift_order: int = 1
    sees_scatter: bool = False
    scatters: bool = False

    @property
    def sees_curvature(self) -> bool:
        """Whether a drift of second order falls out."""
        return self.drift_order >= MAX_DRIFT_ORDER

    def half_width(self, coverage_probability: float = 0.95) -> float:
        """Expanded uncertainty of the ratio."""
        return coverage_factor(max(1.0, self.degrees_of_freedom), coverage_probability) * self.standard_uncertainty


def compare(turns: Sequence[Turn], drift_order: int | None = None) -> Ratio:
    """The ratio from turns in any order, by least squares; without an order the highest that they allow.

    Raises ValueError where the turns do not determine the ratio: with a drift of first order an X between two S, or
    three in turns, are needed; of second order five in turns.
    """
    R = np.array([turn.resistance_ohm for turn in turns])
    if not (R > 0).all():
        raise ValueError("a comparison needs positive values; exchange the sense leads of the negative ones")
    order = _highest_order(turns) if drift_order is None else drift_order
    design, span = _design(turns, order)
    if order < 0 or not _determined(design):
        raise ValueError(
            f"{len(R)} values do not tell the ratio from a drift of order {max(order, 1)}: measure standard and unknown"
            " in turns, such as standard, unknown, standard"
        )
    solving = np.linalg.pinv(design)
    solution = solving @ np.log(R)
    u, nu = _carried(solving[0], turns, R)
    left_over = len(R) - design.shape[1]
    scatters = False
    if left_over:
        rest = np.log(R) - design @ solution
        own = [turn.standard_uncertainty_ohm / r for turn, r in zip(turns, R, strict=True)]
        mean_square = sum(x * x for x in own) / len(own)
        chi_square = float(rest @ rest) / mean_square if mean_square > 0 else math.inf
        scatters = chi_square > chi_square_quantile(_SCATTERS, left_over)
        if scatters:
            u = math.sqrt(float(rest @ rest) / left_over * float(solving[0] @ solving[0]))
            nu = float(left_over)
    elif not u > 0:
        raise ValueError("neither scatter nor stated uncertainties: one more turn is needed")
    ratio = math.exp(float(solution[0]))
    drift = float(solution[2]) / span if order >= 1 and span > 0 else 0.0
    return Ratio(ratio, ratio * u, nu, drift, order, left_over > 0, scatters)


def _highest_order(turns: Sequence[Turn]) -> int:
    """The highest order of drift that can be told from the ratio; second order only where a turn is left over."""
    for order in (2, 1):
        design, _ = _design(turns, order)
        if _determined(design) and (order == 1 or len(turns) > design.shape[1]):
            return order
    return -1


def _design(turns: Sequence[Turn], order: int) -> tuple[NDArray[np.float64], float]:
    t = np.array([turn.time_s for turn in turns], dtype=float)
    return drift_design(t, np.array([turn.of_standard for turn in turns], dtype=bool), order)


def drift_design(
    time_s: NDArray[np.float64], of_standard: NDArray[np.bool_], order: int
) -> tuple[NDArray[np.float64], float]:
    """Columns of ln R for n turns, (n, 2 + order): the unknown's, then a drift in powers of time over the span in s."""
    span = float(np.ptp(time_s)) if len(time_s) else 0.0
    tau = (time_s - time_s.mean()) / span if span > 0 else np.zeros(len(time_s))
    return np.column_stack([~of_standard, *(tau**k for k in range(order + 1))]).astype(float), span


def _determined(design: NDArray[np.float64]) -> bool:
    # Turns that are not quite evenly spaced make X S S X of second order solvable, with an uncertainty without use.
    if design.shape[0] < design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        return False
    return bool(np.linalg.cond(design) < _WELL_CONDITIONED)


_WELL_CONDITIONED = 100.0


def _carried(weights: NDArray[np.float64], turns: Sequence[Turn], R: NDArray[np.float64]) -> tuple[float, float]:
    """Standard uncertainty of the logarithm of the ratio from those of the turns, and its degrees of freedom."""
    parts = [float(w) * turn.standard_uncertainty_ohm / float(r) for w, turn, r in zip(weights, turns, R, strict=True)]
    u = math.sqrt(sum(part * part for part in parts))
    quartic = sum(part**4 / turn.degrees_of_freedom for part, turn in zip(parts, turns, strict=True) if part)
    return u, (u**4 / quartic if quartic > 0 else math.inf)
