"""The result of a run so far, from its readings: one code for live, replay, CSV and tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.blocks import middle_of
from benchapp.analysis.examined.examine import Examined
from benchapp.analysis.find_blocks import find_blocks
from benchapp.analysis.levels import sign_period
from benchapp.analysis.resolution import display_step, hidden_uncertainty
from benchapp.analysis.robust import robust_mean
from benchapp.analysis.running import CompactSeries, Moments, PairedMoments, SparseSample
from benchapp.analysis.running_blocks import COVERAGE_PROBABILITY, OVERLOAD_V, ClosedBlock
from benchapp.analysis.sliding import SlidingSeries
from benchapp.analysis.slow_part import slow_uncertainty
from benchapp.analysis.state_space import StateSpaceSeries
from benchapp.analysis.stationarity import Stationarity, drift_is_significant, judge
from benchapp.analysis.student import coverage_factor

Floats = NDArray[np.float64]
_SENSITIVITY = ClosedBlock._fields.index("sensitivity_per_A")


# Below these the slow part of the series is too short to say; found by simulation (`make coverage`).
_LEAST_BLOCKS_ALTERNATING = 8
_LEAST_BLOCKS_OTHERWISE = 5


class Estimator(StrEnum):
    """How R and its interval follow from the readings."""

    SLIDING = "sliding"  # mean of blocks from every start reading, interval from the slow part of their series
    BLOCKS = "blocks"  # mean of consecutive blocks, interval with Student's t from their scatter
    STATE_SPACE = "state-space"  # R beside an EMF that walks at random; for irregular signs
    EXAMINED = "examined"  # one fit over a run that examines itself; chosen by the recipe, not by name
    ROBUST = "robust"  # as sliding, but a block that a bump has touched counts little


CHOSEN_BY_NAME = tuple(estimator for estimator in Estimator if estimator is not Estimator.EXAMINED)


@dataclass(frozen=True, slots=True)
class Flag:
    """Something the reader of a result should know. `severity` is notice, warning or stop.

    `where_s` are the stretches of time, start and end, of the readings concerned; empty where that is the whole run.
    `size_ohm` is how far R moved, where that is what the flag speaks of.
    """

    code: str
    severity: str
    text: str
    where_s: tuple[tuple[float, float], ...] = ()
    size_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the readings say; NaN where something does not exist yet.

    `estimator` says which one was used: short runs fall back on consecutive blocks. `repeatability_95_ohm` is
    the 95 % half-width from scatter alone. `thermal_emf_V` holds at the mean time of the readings.
    `reading_noise_V` is the standard deviation of one reading that explains the scatter of the blocks, and
    `noise_V_per_rt_Hz` its density through the aperture, whose equivalent bandwidth is 1/(2T).
    """

    resistance_ohm: float
    standard_uncertainty_ohm: float
    expanded_uncertainty_ohm: float
    coverage_factor: float
    coverage_probability: float
    degrees_of_freedom: float
    repeatability_95_ohm: float
    block_deviation_ohm: float
    reading_noise_V: float
    noise_V_per_rt_Hz: float
    thermal_emf_V: float
    thermal_emf_slope_V_per_s: float
    drift_ohm_per_s: float
    drift_significant: bool
    readings: int
    blocks: int
    state: Stationarity
    estimator: Estimator
    flags: tuple[Flag, ...]
    examined: Examined | None = None


class _Central(NamedTuple):
    """R in ohm with its standard uncertainty and degrees of freedom, by which estimator; blocks that lie far out."""

    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: float
    estimator: Estimator
    outlying: int = 0


class RunningEstimate:
    """Takes what was read and the blocks that it closed, in batches; `estimate()` states the result at any moment.

    `whole_up_to` bounds the readings of which a state-space estimate is made: a run that goes on must not wait for a
    long one, and has that of consecutive blocks meanwhile.
    """

    def __init__(
        self,
        emf_order: int = 1,
        middle_A: float = 0.0,
        aperture_s: float = math.nan,
        estimator: Estimator = Estimator.SLIDING,
        whole_up_to: int | None = None,
    ) -> None:
        self._wanted = estimator
        self._middle_A = middle_A
        self._sliding = SlidingSeries(emf_order, middle_A, keeps=estimator is Estimator.ROBUST)
        self._whole = StateSpaceSeries() if estimator is Estimator.STATE_SPACE else None
        self._whole_up_to = whole_up_to
        self._last_current_A = math.nan
        self._alternates = True
        self._aperture_s = aperture_s
        self._sensitivity_squared = 0.0
        self._blocks = Moments()
        self._sample = SparseSample()
        self._swing_squared = 0.0
        self._series = CompactSeries()
        self._readings = PairedMoments()
        self._overloads = 0
        self._overloaded_s = (math.inf, -math.inf)

    def take(self, readings: Floats, blocks: Floats, cuts: Sequence[int] = ()) -> None:
        """Readings as (3, n): time, current, voltage; the blocks they closed as columns of ClosedBlock.

        `cuts` are indices of readings that come first after a cut: a pause, a gap in time.
        """
        edges = sorted({0, *(cut for cut in cuts if 0 <= cut <= readings.shape[1]), readings.shape[1]})
        if 0 in cuts:
            self._cut()
        for number, (start, end) in enumerate(pairwise(edges)):
            if number:
                self._cut()
            self._take_stretch(*readings[:, start:end])
        if readings.shape[1] in cuts and readings.shape[1]:
            self._cut()
        self._blocks.extend(blocks[0], blocks[1])
        self._series.extend(blocks[1])
        self._sensitivity_squared += float(blocks[_SENSITIVITY] @ blocks[_SENSITIVITY])

    def _take_stretch(self, t: Floats, I: Floats, V: Floats) -> None:
        good = np.abs(V) < OVERLOAD_V
        if not good.all():
            places = np.flatnonzero(~good)
            self._overloads += len(places)
            self._overloaded_s = (min(self._overloaded_s[0], float(t[places[0]])), float(t[places[-1]]))
            for start, end in pairwise([-1, *places.tolist(), len(t)]):
                if end > start + 1:
                    self._take_stretch(t[start + 1 : end], I[start + 1 : end], V[start + 1 : end])
                self._cut()
            return
        if not len(t):
            return
        self._alternates &= bool((I[1:] * I[:-1] < 0).all()) and not self._last_current_A * float(I[0]) >= 0
        self._last_current_A = float(I[-1])
        self._readings.extend(t, I, V)
        self._sample.extend(V)
        swing = I - self._middle_A
        self._swing_squared += float(swing @ swing)
        if self._whole is None:
            self._sliding.extend(t, I, V)
        elif self._whole_up_to is None or self._readings.count <= self._whole_up_to:
            self._whole.extend(t, I, V)

    def _cut(self) -> None:
        self._last_current_A = math.nan
        self._sliding.cut()
        if self._whole is not None:
            self._whole.pause()

    def estimate(self) -> Estimate:
        """The result so far. Cost: that of what came since the last call, and of some thousand values at most."""
        blocks, n = self._blocks, self._blocks.count
        noise = blocks.standard_deviation / math.sqrt(self._sensitivity_squared / n) if n > 1 else math.nan
        resistance, u, degrees, estimator, outlying = self._with_resolution(self._central(), noise)
        k = coverage_factor(degrees, COVERAGE_PROBABILITY) if degrees > 0 else math.nan
        emf, emf_slope = self._readings.thermal_emf(resistance) if math.isfinite(resistance) else (math.nan, math.nan)
        return Estimate(
            resistance_ohm=resistance,
            standard_uncertainty_ohm=u,
            expanded_uncertainty_ohm=k * u,
            coverage_factor=k,
            coverage_probability=COVERAGE_PROBABILITY,
            degrees_of_freedom=degrees,
            repeatability_95_ohm=k * u,
            block_deviation_ohm=blocks.standard_deviation,
            reading_noise_V=noise,
            noise_V_per_rt_Hz=noise * math.sqrt(2 * self._aperture_s),
            thermal_emf_V=emf,
            thermal_emf_slope_V_per_s=emf_slope,
            drift_ohm_per_s=blocks.slope_per_s,
            drift_significant=n > 2 and drift_is_significant(blocks),
            readings=self._readings.count + self._overloads,
            blocks=n,
            state=judge(blocks, self._series.values),
            estimator=estimator,
            flags=self._flags(outlying),
        )

    def _central(self) -> _Central:
        """By the estimator that was asked for; by consecutive blocks where the run is too short for it."""
        found = self._by_state_space() if self._whole is not None else self._by_sliding_blocks()
        if found is not None and found.standard_uncertainty_ohm > 0:
            return found
        blocks, n = self._blocks, self._blocks.count
        mean_ohm = blocks.mean if n else math.nan
        return _Central(mean_ohm, blocks.standard_uncertainty, max(0, n - 1), Estimator.BLOCKS)

    def _with_resolution(self, found: _Central, noise_V: float) -> _Central:
        """The same with what the voltmeter's last digit hides, which no averaging makes smaller."""
        u, count = found.standard_uncertainty_ohm, self._readings.count
        if not u >= 0 or not count or not found.degrees_of_freedom:
            return found
        deviation = noise_V if math.isfinite(noise_V) else 0.0
        swing = math.sqrt(self._swing_squared / count)
        hidden = hidden_uncertainty(display_step(self._sample.values), deviation, swing)
        if not hidden > 0:
            return found
        whole = math.hypot(u, hidden)
        degrees = found.degrees_of_freedom * (whole / u) ** 4 if u > 1e-4 * whole else math.inf
        return found._replace(standard_uncertainty_ohm=whole, degrees_of_freedom=degrees)

    def _by_state_space(self) -> _Central | None:
        if self._whole is None or (self._whole_up_to is not None and self._readings.count > self._whole_up_to):
            return None
        found = self._whole.estimate()
        if found is None:
            return None
        u, degrees = found.standard_uncertainty_ohm, found.degrees_of_freedom
        return _Central(found.resistance_ohm, u, degrees, Estimator.STATE_SPACE)

    def _by_sliding_blocks(self) -> _Central | None:
        least = _LEAST_BLOCKS_ALTERNATING if self._alternates else _LEAST_BLOCKS_OTHERWISE
        if self._wanted is Estimator.BLOCKS or self._blocks.count < least:
            return None
        sliding = self._sliding
        sliding.update()
        if self._wanted is Estimator.ROBUST:
            robust = robust_mean(sliding.kept, sliding.mean_readings)
            if robust is not None:
                u, degrees = robust.standard_uncertainty, robust.degrees_of_freedom
                return _Central(robust.mean, u, degrees, Estimator.ROBUST, robust.outlying)
        u, degrees = slow_uncertainty(sliding.groups.values, sliding.groups.group, sliding.mean_readings)
        return _Central(sliding.mean_ohm, u, degrees, Estimator.SLIDING)

    def _flags(self, outlying: int) -> tuple[Flag, ...]:
        flags = []
        if self._overloads:
            text = f"{self._overloads} readings outside the voltmeter's range; they are in no block."
            flags.append(Flag("overload", "stop", f"{text} Choose a higher range.", (self._overloaded_s,)))
        if outlying:
            text = (
                f"{outlying} of {self._sliding.count} overlapping blocks lie further out than noise explains; each was"
            )
            text += " limited to two deviations. The readings are all kept."
            flags.append(Flag("outlier-limited", "notice", text))
        return tuple(flags)


def estimate_readings(
    time_s: Sequence[float] | Floats,
    current_A: Sequence[float] | Floats,
    voltage_V: Sequence[float] | Floats,
    *,
    emf_order: int = 1,
    middle_A: float | None = None,
    pauses: Sequence[int] = (),
    aperture_s: float = math.nan,
    estimator: Estimator | None = None,
) -> tuple[Estimate, Floats]:
    """The whole run at once, and its blocks as columns of ClosedBlock.

    `pauses` holds the indices of readings that come first after a pause. Without an `estimator` the signs decide:
    sliding blocks where they have a period, else the state-space estimate.
    """
    readings = np.array([time_s, current_A, voltage_V], dtype=float).reshape(3, -1)
    if middle_A is None:
        I = readings[1]
        middle_A = middle_of(float(I.min(initial=0.0)), float(I.max(initial=0.0)))
    if estimator is None:
        # Sliding blocks cover a little too rarely where the signs are irregular.
        estimator = Estimator.SLIDING if sign_period(readings[1]) else Estimator.STATE_SPACE
    blocks, cuts = find_blocks(readings, emf_order=emf_order, middle_A=middle_A, pauses=pauses)
    running = RunningEstimate(emf_order, middle_A, aperture_s, estimator)
    running.take(readings, blocks, cuts)
    return running.estimate(), blocks
