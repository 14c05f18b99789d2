"""The uncertainty of the mean of a correlated series, from its slow part.

The variance of a mean is set by the spectrum at zero frequency. The lowest cosine coefficients of the series estimate
it: Lambda_k = sqrt(2/m) * sum d_j cos(pi k (j - 1/2)/m), k = 1..B, each with that variance and nearly independent, so
u^2 = sum Lambda_k^2 / (B m) and the mean over u follows Student's t with B degrees of freedom (Mueller 2007 and later
work on low-frequency inference, cited from memory; the choice of B is by simulation, `make coverage`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_MOST = 40
_LEAST = 3


def coefficients_used(length: int, block_readings: float) -> int:
    """B: few enough to stay below the correlation that shared readings make, from 3 to 40."""
    return min(_MOST, max(_LEAST, math.floor(3 * length / (8 * max(block_readings, 1.0)))))


def slow_uncertainty(
    means: Floats, group: int, block_readings: float = 1.0, *, cosines: int | None = None
) -> tuple[float, int]:
    """Standard uncertainty of the mean of a series, and its degrees of freedom B.

    `means` are those of consecutive groups of `group` values; NaN below five values. `cosines` sets B where it does
    not follow from the readings that neighbouring values share.
    """
    n = len(means)
    if n < 5:
        return math.nan, 0
    from scipy.fft import dct

    length = n * group
    used = min(coefficients_used(length, block_readings) if cosines is None else cosines, n - 1)
    # dct gives 2 * sum d_j cos(...); group means stand for `group` equal values each.
    coefficients = math.sqrt(group / (2 * n)) * dct(means - means.mean(), type=2)[1 : used + 1]
    return math.sqrt(float(coefficients @ coefficients) / (used * length)), used
