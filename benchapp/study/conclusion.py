"""What a study works on and what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.estimate import Estimate
from benchapp.analysis.student import coverage_factor
from benchapp.recipe import Recipe

Floats = NDArray[np.float64]
COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class StudyRun:
    """One run of a study: how it was measured, its readings (3, n) as time_s, current_A, voltage_V, what they say by
    themselves, and the temperatures (2, m) as time_s and degrees Celsius; `started_s` is its start after the first's.
    """

    recipe: Recipe
    rows: Floats
    estimate: Estimate
    temperatures: Floats = field(default_factory=lambda: np.empty((2, 0)))
    started_s: float = 0.0

    @property
    def R(self) -> float:
        """In ohm."""
        return self.estimate.resistance_ohm

    @property
    def u(self) -> float:
        """Standard uncertainty by the readings, in ohm."""
        return self.estimate.standard_uncertainty_ohm

    @property
    def degrees(self) -> float:
        """Its degrees of freedom."""
        return self.estimate.degrees_of_freedom


@dataclass(frozen=True, slots=True)
class Figure:
    """One number with its 95 % interval, in `unit`; an end that the data do not reach is infinite, or 0."""

    name: str
    value: float
    low: float
    high: float
    unit: str

    @property
    def is_seen(self) -> bool:
        """Whether 0 lies outside the interval."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class Conclusion:
    """Of one study. `text` are sentences; `changes` are keys of a recipe with their new texts, to be applied where the
    user says so; `tells` is False where the data cannot tell, and then no figure is to be believed.
    """

    kind: str
    figures: tuple[Figure, ...]
    text: str
    changes: dict[str, str] = field(default_factory=dict)
    tells: bool = True
    picture: tuple[Floats, Floats, Floats] | None = None  # x, what was seen, the fit

    def figure(self, name: str) -> Figure:
        """One of them by its name."""
        return next(one for one in self.figures if one.name == name)


def combined(name: str, weights: Floats, runs: list[StudyRun], unit: str = "ohm") -> Figure:
    """The sum of weights times R, with each run's own uncertainty (Welch and Satterthwaite, JCGM 100:2008, G.4)."""
    R, u = np.array([run.R for run in runs]), np.array([run.u for run in runs])
    degrees = np.array([max(1.0, min(run.degrees, 1e9)) for run in runs])
    value, parts = float(weights @ R), (weights * u) ** 2
    total = float(parts.sum())
    nu = total**2 / float((parts**2 / degrees).sum()) if total > 0 else 1.0
    half = coverage_factor(nu, COVERAGE) * math.sqrt(total)
    return Figure(name, value, value - half, value + half, unit)
