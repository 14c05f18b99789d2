"""The result of a run so far, from its readings: one code for live, replay, CSV and tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.blocks import BlockFormer, middle_of, sign_period
from benchapp.analysis.regular import regular_blocks
from benchapp.analysis.robust import robust_mean
from benchapp.analysis.running import CompactSeries, Moments, PairedMoments
from benchapp.analysis.sliding import SlidingSeries
from benchapp.analysis.slow_part import slow_uncertainty
from benchapp.analysis.state_space import StateSpaceSeries
from benchapp.analysis.stationarity import Stationarity, drift_is_significant, judge
from benchapp.analysis.student import coverage_factor, coverage_factors

Floats = NDArray[np.float64]
COVERAGE_PROBABILITY = 0.95
# SCPI-99 vol. 1, 7.2.1: 9.9E37 is infinity and 9.91E37 is not a number; no voltmeter reads 1E30 V.
OVERLOAD_V = 1e30
_LONG = 200_000  # readings from which a whole run is taken at once; shorter ones as they were live, bit for bit


# Below these the slow part of the series is too short to say; found by simulation (`make coverage`).
_LEAST_BLOCKS_ALTERNATING = 8
_LEAST_BLOCKS_OTHERWISE = 5


class Estimator(StrEnum):
    """How R and its interval follow from the readings."""

    SLIDING = "sliding"  # mean of blocks from every start reading, interval from the slow part of their series
    BLOCKS = "blocks"  # mean of consecutive blocks, interval with Student's t from their scatter
    STATE_SPACE = "state-space"  # R beside an EMF that walks at random; for irregular signs
    ROBUST = "robust"  # as sliding, but a block that a bump has touched counts little


@dataclass(frozen=True, slots=True)
class Flag:
    """Something the reader of a result should know. `severity` is notice, warning or stop.

    `where_s` are the stretches of time, start and end, of the readings concerned; empty where that is the whole run.
    """

    code: str
    severity: str
    text: str
    where_s: tuple[tuple[float, float], ...] = ()


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
    degrees_of_freedom: int
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


class ClosedBlock(NamedTuple):
    """A block with the result as it stood when it closed; NaN half-width below two blocks."""

    time_s: float
    resistance_ohm: float
    thermal_emf_V: float
    mean_ohm: float
    half_width_ohm: float
    readings: int


class _Central(NamedTuple):
    """R in ohm with its standard uncertainty and degrees of freedom, by which estimator; blocks that lie far out."""

    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: int
    estimator: Estimator
    outlying: int = 0


class RunningEstimate:
    """Takes readings one by one; `estimate()` states the result at any moment."""

    def __init__(
        self,
        emf_order: int = 1,
        middle_A: float = 0.0,
        aperture_s: float = math.nan,
        estimator: Estimator = Estimator.SLIDING,
    ) -> None:
        self._wanted = estimator
        self._sliding = SlidingSeries(emf_order, middle_A, keeps=estimator is Estimator.ROBUST)
        self._whole = StateSpaceSeries() if estimator is Estimator.STATE_SPACE else None
        self._last_current_A = math.nan
        self._alternates = True
        self._aperture_s = aperture_s
        self._sensitivity_squared = 0.0
        self._former = BlockFormer(emf_order, middle_A)
        self._blocks = Moments()
        self._series = CompactSeries()
        self._readings = PairedMoments()
        self._overloads = 0
        self._overloaded_s = (math.inf, -math.inf)

    @property
    def block_count(self) -> int:
        """Closed blocks so far."""
        return self._blocks.count

    @property
    def overloads(self) -> int:
        """Readings outside the voltmeter's range so far; they are in no block."""
        return self._overloads

    def push(self, time_s: float, current_A: float, voltage_V: float) -> ClosedBlock | None:
        """Take one reading; return the block that it closes, if any."""
        if not abs(voltage_V) < OVERLOAD_V:
            self._overloads += 1
            self._overloaded_s = (min(self._overloaded_s[0], time_s), time_s)
            self.pause()
            return None
        if current_A * self._last_current_A >= 0:
            self._alternates = False
        self._last_current_A = current_A
        self._readings.push(time_s, current_A, voltage_V)
        left_out = self._former.left_out
        block = self._former.push(time_s, current_A, voltage_V)
        if self._former.left_out != left_out:
            self._cut()  # the former has seen a gap in time
        self._sliding.push(time_s, current_A, voltage_V)
        if self._whole is not None:
            self._whole.push(time_s, current_A, voltage_V)
        if block is None:
            return None
        self._blocks.push(block.time_s, block.resistance_ohm)
        self._series.push(block.resistance_ohm)
        self._sensitivity_squared += block.sensitivity_per_A**2
        return ClosedBlock(
            block.time_s,
            block.resistance_ohm,
            block.thermal_emf_V,
            self._blocks.mean,
            self.repeatability_95(),
            block.readings,
        )

    def take_all(self, time_s: Floats, current_A: Floats, voltage_V: Floats) -> list[ClosedBlock] | None:
        """A whole long run at once instead of `push` for each reading; None, and nothing taken, where it is irregular.

        The same blocks, and the same numbers but for the rounding of sums (a part in 1e12).
        """
        if self._whole is not None or self._readings.count or not (np.abs(voltage_V) < OVERLOAD_V).all():
            return None
        found = regular_blocks(time_s, current_A, voltage_V, self._former.order, self._former.middle_A)
        if found is None:
            return None
        self._alternates = bool((current_A[1:] * current_A[:-1] < 0).all())
        self._readings.take_all(time_s, current_A, voltage_V)
        self._sliding.extend(time_s.tolist(), current_A.tolist(), voltage_V.tolist())
        self._sensitivity_squared = float(found.sensitivity_per_A @ found.sensitivity_per_A)
        means, squares = [], []
        for t, R in zip(found.time_s.tolist(), found.resistance_ohm.tolist(), strict=True):
            self._blocks.push(t, R)
            self._series.push(R)
            means.append(self._blocks.mean)
            squares.append(self._blocks.sum_square)
        n = np.arange(1.0, len(means) + 1)
        half = np.full(len(means), np.nan)
        degrees = n[1:] - 1
        half[1:] = np.sqrt(np.array(squares[1:]) / degrees / n[1:]) * coverage_factors(len(means) - 1)
        columns = (
            found.time_s.tolist(),
            found.resistance_ohm.tolist(),
            found.thermal_emf_V.tolist(),
            means,
            half.tolist(),
        )
        return [ClosedBlock(*row, found.readings) for row in zip(*columns, strict=True)]

    def pause(self) -> None:
        """No block spans a pause."""
        self._former.break_block()
        self._cut()
        self._last_current_A = math.nan

    def _cut(self) -> None:
        self._sliding.cut()
        if self._whole is not None:
            self._whole.pause()

    def repeatability_95(self) -> float:
        """Half-width in ohm of the 95 % interval from the scatter of consecutive blocks; NaN below two.

        This is what a stop rule looks at: stopping on the interval that is reported would stop on luck.
        """
        if self._blocks.count < 2:
            return math.nan
        return self._blocks.standard_uncertainty * coverage_factor(self._blocks.count - 1, COVERAGE_PROBABILITY)

    def estimate(self) -> Estimate:
        """The result so far. Cost: that of what came since the last call, and of some thousand values at most."""
        blocks, n = self._blocks, self._blocks.count
        resistance, u, degrees, estimator, outlying = self._central()
        k = coverage_factor(degrees, COVERAGE_PROBABILITY) if degrees > 0 else math.nan
        noise = blocks.standard_deviation / math.sqrt(self._sensitivity_squared / n) if n > 1 else math.nan
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

    def _by_state_space(self) -> _Central | None:
        found = None if self._whole is None else self._whole.estimate()
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
            text = f"{outlying} of {self._sliding.count} overlapping blocks lie further out than noise explains; each"
            flags.append(Flag("outlier", "notice", f"{text} was limited to two deviations. The readings are all kept."))
        return tuple(flags)


def estimate_readings(
    time_s: Sequence[float],
    current_A: Sequence[float],
    voltage_V: Sequence[float],
    *,
    emf_order: int = 1,
    middle_A: float | None = None,
    pauses: Sequence[int] = (),
    aperture_s: float = math.nan,
    estimator: Estimator | None = None,
) -> tuple[Estimate, list[ClosedBlock]]:
    """The whole run at once; `pauses` holds the indices of readings that come first after a pause.

    Without an `estimator` the signs decide: sliding blocks where they have a period, else the state-space estimate.
    """
    if middle_A is None:
        middle_A = middle_of(min(current_A, default=0.0), max(current_A, default=0.0))
    if estimator is None:
        # Sliding blocks cover a little too rarely where the signs are irregular.
        estimator = Estimator.SLIDING if sign_period(np.asarray(current_A)) else Estimator.STATE_SPACE
    running = RunningEstimate(emf_order, middle_A, aperture_s, estimator)
    if len(time_s) >= _LONG and not pauses:
        columns = (np.asarray(column, dtype=float) for column in (time_s, current_A, voltage_V))
        taken = running.take_all(*columns)
        if taken is not None:
            return running.estimate(), taken
    first_after_pause = set(pauses)
    blocks = []
    for index, reading in enumerate(zip(time_s, current_A, voltage_V, strict=True)):
        if index in first_after_pause:
            running.pause()
        block = running.push(*reading)
        if block is not None:
            blocks.append(block)
    return running.estimate(), blocks
