"""An unknown resistor against a standard by ratio, measured in turns: the source's accuracy and its drift fall out.

Both carry the same current. The logarithms of the values follow a polynomial in time, common to both (drift of the
current and of the voltmeter's gain), and the standard's lie lower by ln(R_X / R_S); least squares over all turns gives
that difference free of the drift, as the order X S S X does by hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.student import coverage_factor


@dataclass(frozen=True, slots=True)
class Turn:
    """One measured value: at which time, whether of the standard, and R with its standard uncertainty in ohm."""

    time_s: float
    of_standard: bool
    resistance_ohm: float
    standard_uncertainty_ohm: float


@dataclass(frozen=True, slots=True)
class Ratio:
    """R_X / R_S with its standard uncertainty and degrees of freedom, and the drift that was taken out."""

    ratio: float
    standard_uncertainty: float
    degrees_of_freedom: int
    drift_per_s: float

    def half_width(self, coverage_probability: float = 0.95) -> float:
        """Expanded uncertainty of the ratio."""
        return coverage_factor(self.degrees_of_freedom, coverage_probability) * self.standard_uncertainty


def compare(turns: Sequence[Turn], drift_order: int = 1) -> Ratio:
    """The ratio from turns in any order, by least squares weighted with what each turn says of itself.

    The uncertainty is the larger one of the turns' own and of their scatter about the fit. Raises ValueError where the
    turns do not determine the ratio: with a drift of first order an X between two S, or three in turns, are needed.
    """
    t = np.array([turn.time_s for turn in turns], dtype=float)
    of_standard = np.array([turn.of_standard for turn in turns])
    R = np.array([turn.resistance_ohm for turn in turns])
    u = np.array([turn.standard_uncertainty_ohm for turn in turns])
    if not (R > 0).all():
        raise ValueError("a comparison needs positive values; exchange the sense leads of the negative ones")
    span = float(np.ptp(t)) if len(t) else 0.0
    tau = (t - t.mean()) / span if span > 0 else np.zeros(len(t))
    design = np.column_stack([~of_standard, *(tau**k for k in range(drift_order + 1))]).astype(float)
    columns = design.shape[1]
    weights = 1 / (u / R) if (u > 0).all() else np.ones(len(R))
    weighted = design * weights[:, None]
    if len(R) < columns or np.linalg.matrix_rank(weighted) < columns:
        raise ValueError(
            f"{len(R)} values do not tell the ratio from a drift of order {drift_order}: measure standard and unknown"
            " in turns, such as standard, unknown, standard"
        )
    solution, *_ = np.linalg.lstsq(weighted, np.log(R) * weights, rcond=None)
    covariance = np.linalg.inv(weighted.T @ weighted)
    rest = (np.log(R) - design @ solution) * weights
    degrees = len(R) - columns
    scatter = float(rest @ rest) / degrees if degrees else math.nan
    known = (u > 0).all()
    if not known and not degrees:
        raise ValueError("neither scatter nor stated uncertainties: one more turn is needed")
    # Where the turns scatter by more than they say, their scatter counts.
    factor = scatter if not known or scatter > 1 else 1.0
    ratio = math.exp(float(solution[0]))
    return Ratio(
        ratio,
        ratio * math.sqrt(float(covariance[0, 0]) * factor),
        degrees if not known or scatter > 1 else 10**6,
        float(solution[2]) / span if drift_order >= 1 and span > 0 else 0.0,
    )
