"""The readings of a check, as they were taken."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(slots=True)
class Series:
    """Readings of one aperture: time in s, current that was set in A, voltage in V."""

    aperture_s: float
    time_s: list[float] = field(default_factory=list)
    current_A: list[float] = field(default_factory=list)
    voltage_V: list[float] = field(default_factory=list)

    def add(self, time_s: float, current_A: float, voltage_V: float) -> None:
        """One reading."""
        self.time_s.append(time_s)
        self.current_A.append(current_A)
        self.voltage_V.append(voltage_V)

    @property
    def columns(self) -> tuple[Floats, Floats, Floats]:
        """Time, current, voltage as arrays."""
        return np.array(self.time_s), np.array(self.current_A), np.array(self.voltage_V)


@dataclass(slots=True)
class Trace:
    """What a check has read: a first step far below the trial current, zero current at three apertures, dwells at the
    trial current, zero current again. `limited`: the source said that its compliance limits.
    """

    first: Series
    zero: Series
    fast: Series
    slow: Series
    dwells: Series
    zero_again: Series
    trial_A: float = 0.0
    limited: bool = False
    overload: bool = False
    output_before: str = ""
    identities: dict[str, str] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)
    stopped: str = ""  # why the trial current was not reached


def empty_trace(line_frequency_Hz: float, trial_A: float) -> Trace:
    """At one line cycle, a tenth of it, and five."""
    cycle_s = 1 / line_frequency_Hz
    first, zero, fast, slow, dwells, again = (Series(cycle_s * part) for part in (1.0, 1.0, 0.1, 5.0, 1.0, 1.0))
    return Trace(first, zero, fast, slow, dwells, again, trial_A)
