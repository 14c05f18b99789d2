"""The voltmeter's last digit, as the readings show it, and what it hides."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_MOST_READINGS = 4096
_FINEST = 12  # decades below the largest reading; finer digits are those of the arithmetic


def display_step(voltage_V: Floats) -> float:
    """The largest power of ten of which all readings are whole multiples, in volt; 0 where they show no last digit.

    Readings that repeat show a last digit that is at most as fine as this: an interval that rests on it is too wide
    rather than too narrow.
    """
    some = voltage_V[:: max(1, len(voltage_V) // _MOST_READINGS)]
    largest = float(np.abs(some).max()) if len(some) else 0.0
    if not 0 < largest < math.inf:
        return 0.0
    top = math.floor(math.log10(largest))
    for power in range(top, top - _FINEST, -1):
        step = 10.0**power
        multiples = some / step
        if bool((np.abs(multiples - np.round(multiples)) <= 1e-6).all()):
            return step
    return 0.0


def hidden_uncertainty(step_V: float, reading_deviation_V: float, swing_A: float) -> float:
    """Standard uncertainty in ohm that the last digit leaves where the noise is smaller than it; 0 elsewhere.

    Noise of a digit or more carries the reading over its steps, and their mean is finer than one of them. Below that
    each polarity is off by up to half a digit however many readings are taken: a rectangle, its two halves added as if
    they went together. `swing_A` is the deviation of the current about its middle.
    """
    if not step_V > 0 or not swing_A > 0 or reading_deviation_V >= step_V:
        return 0.0
    return step_V / math.sqrt(12) / swing_A
