"""Three currents tell a resistance that goes with the power from an EMF that follows the current's sign."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.columns import Readings
from benchapp.analysis.examined.fit import Fit, Term

Floats = NDArray[np.float64]
_DIFFER = 11.8  # chi-square with two degrees of freedom: 3 in 1000
_NAMED = 6.0  # of twice the log likelihood: odds of twenty to one
_LEVELS = ("R", "R half", "R quarter")


class Cause(StrEnum):
    """Why R differs between the currents."""

    NONE = "none"
    POWER = "power"
    SIGN = "sign"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class ThirdLevel:
    """What three currents say: the cause, R beside the EMF, and the EMF in ohm at the working current; and the columns
    of a fit in which the EMF stands beside one R.
    """

    cause: Cause
    beside_emf: Term
    emf: Term
    columns: dict[str, Floats]


def third_level(
    readings: Readings,
    fit: Fit,
    columns: dict[str, Floats],
    beside: Callable[[Fit, dict[str, Floats]], Fit],
) -> ThirdLevel:
    """`fit` has a resistance for each current among its `columns`; `beside` fits others under the same walk."""
    r = readings
    rest = {name: column for name, column in columns.items() if name not in _LEVELS}
    one = beside(fit, {"R": r.current_A, **rest})
    power = beside(fit, {"R": r.current_A, "cubic": r.current_A * (r.current_A / r.working_A) ** 2, **rest})
    following = np.sign(r.current_A) * (r.level > 0) * r.working_A
    with_emf = {"R": r.current_A, "following": following, **rest}
    sign = beside(fit, with_emf)
    cause = Cause.NONE
    if _twice_log_ratio(one, fit) > _DIFFER:
        better = _twice_log_ratio(power, sign)
        cause = Cause.SIGN if better > _NAMED else Cause.POWER if better < -_NAMED else Cause.UNCLEAR
    return ThirdLevel(cause, sign.term(R=1.0), sign.term(following=1.0), with_emf)


def hull(one: Term, other: Term) -> tuple[float, float]:
    """Value and half-width of the interval that holds those of both."""
    low = min(one.value - one.half_width, other.value - other.half_width)
    high = max(one.value + one.half_width, other.value + other.half_width)
    return (low + high) / 2, (high - low) / 2


def _twice_log_ratio(worse: Fit, better: Fit) -> float:
    return worse.readings * math.log(worse.rest_squared / better.rest_squared)
