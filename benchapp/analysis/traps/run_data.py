"""A run as the traps look at it: readings, blocks, and the EMF that is left when R is taken away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_ENOUGH = 16_384


@dataclass(frozen=True, slots=True)
class RunData:
    """`emf_V` is V - R*I with the blocks' median, or what R follows; `block_ohm` are consecutive blocks in time order.

    `period` is that of the signs, 0 where they have none; `half_width_ohm` is U of the 95 % interval; `changed` says of
    each reading after the first whether sign or level of the current changed before it; `bridged` marks readings over
    which the EMF is a straight line, because R has a step among them.
    """

    time_s: Floats
    current_A: Floats
    voltage_V: Floats
    emf_V: Floats
    block_ohm: Floats
    resistance_ohm: float
    half_width_ohm: float
    period: int
    changed: NDArray[np.bool_]
    bridged: NDArray[np.bool_] | None = None

    @property
    def noise_V(self) -> Floats:
        """The EMF without the readings that were bridged over."""
        return self.emf_V if self.bridged is None else self.emf_V[~self.bridged]

    @property
    def noise_time_s(self) -> Floats:
        """When `noise_V` was read."""
        return self.time_s if self.bridged is None else self.time_s[~self.bridged]

    @property
    def alternating(self) -> bool:
        """Whether the signs are plain + and -."""
        return self.period == 2


def robust_deviation(values: Floats) -> float:
    """1.4826 times the median absolute deviation: a normal sample's standard deviation, blind to a few outliers.

    Of a long series an even part of some thousands is enough.
    """
    values = values[:: max(1, len(values) // _ENOUGH)]
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0
