"""How an estimator weighs the readings, and what noise makes of it: U before a run."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.blocks import VARIANCE_LIMIT
from benchapp.analysis.estimate import Estimator
from benchapp.analysis.examined.columns import position_columns, readings_of, resistance_columns
from benchapp.analysis.noise import Noise
from benchapp.analysis.slow_part import coefficients_used
from benchapp.analysis.student import chi_square_quantile, coverage_factor
from benchapp.recipe import Recipe

Floats = NDArray[np.float64]
_MOST = 240  # readings that are weighed; more are as many times these
_CYCLES = 2
_COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class Pace:
    """Time that the instruments take beside delay and aperture: for a change of the current, and for each reading.

    The defaults are common practice, no source; a run of the same bench tells them.
    """

    change_s: float = 0.005
    reading_s: float = 0.002


@dataclass(frozen=True, slots=True)
class Readings:
    """When each reading of a run has its middle, and the sign and size of its current, as part of the working one."""

    middle_s: Floats
    part: Floats

    @property
    def step_s(self) -> float:
        """Mean time of a reading."""
        return float(self.middle_s[-1] - self.middle_s[0]) / (len(self.middle_s) - 1)


def readings_of_recipe(recipe: Recipe, count: int, pace: Pace) -> Readings:
    """The first readings of a run of that recipe."""
    part = np.array([recipe.level_A(k) for k in range(count)]) / recipe.current_A
    changed = np.diff(part, prepend=np.nan) != 0
    took = recipe.aperture_s + pace.reading_s + np.where(changed, recipe.settle_s + pace.change_s, 0.0)
    return Readings(np.cumsum(took) - recipe.aperture_s / 2, part)


@dataclass(frozen=True, slots=True)
class Scatter:
    """What the readings alone will say, in ohm: u, its degrees of freedom, and U as it is stated (95 %), of which half
    the runs and nine of ten stay below.
    """

    u_ohm: float
    degrees: int
    median_U_ohm: float
    mostly_U_ohm: float


def scatter(recipe: Recipe, readings: int, noise: Noise, pace: Pace) -> Scatter:
    """Of a run of so many readings. `noise` is that at the recipe's voltage (`Noise.at`)."""
    if recipe.examine:
        return _examined(recipe, readings, noise, pace)
    white, flicker, walk, length = _of_each_noise(
        recipe.signs, recipe.nplc, recipe.line_frequency_Hz, recipe.settle_s, recipe.emf_order, pace
    )
    variance = white * noise.white_V2_per_Hz + flicker * noise.flicker_V2 + walk * noise.walk_V_per_rt_s**2
    u = math.sqrt(max(0.0, variance / readings)) / recipe.current_A
    if recipe.estimator is Estimator.BLOCKS:
        degrees = max(1, round(readings / length) - 1)
    else:
        blocks = max(4, round(readings - length + 1))
        degrees = min(coefficients_used(blocks, length), blocks - 1)
    return _stated(u, degrees, 0.0)


@lru_cache(maxsize=1024)
def _of_each_noise(
    signs: str, nplc: float, line_frequency_Hz: float, settle_s: float, emf_order: int, pace: Pace
) -> tuple[float, float, float, float]:
    """What noise of unit size makes of the mean of all blocks at 1 A, times the readings; and a block's readings."""
    recipe = Recipe(
        1.0, signs=signs, nplc=nplc, line_frequency_Hz=line_frequency_Hz, settle_s=settle_s, emf_order=emf_order
    )
    series = readings_of_recipe(recipe, _MOST, pace)
    weights, length = _mean_of_blocks(series, emf_order, len(signs))
    sizes = (
        float(weights @ noise.covariance(series.middle_s, recipe.aperture_s) @ weights) * _MOST
        for noise in (Noise(1.0), Noise(0.0, 1.0), Noise(0.0, 0.0, 1.0))
    )
    white, flicker, walk = sizes
    return white, flicker, walk, length


def _stated(u: float, degrees: int, least: float) -> Scatter:
    """`least` is that part of U over u which is stated whatever the scatter was."""
    k = coverage_factor(degrees, _COVERAGE)
    half, mostly = (
        u * max(least, k * math.sqrt(chi_square_quantile(share, degrees) / degrees)) for share in (0.5, 0.9)
    )
    return Scatter(u, degrees, half, mostly)


def _mean_of_blocks(series: Readings, emf_order: int, period: int) -> tuple[Floats, float]:
    """Weights, summing over the voltages to R times the current, of the mean of all blocks, and a block's readings.

    A block is the shortest run of readings that determines R; what it is at one start it is a sequence later.
    """
    t, x, n = series.middle_s, series.part, len(series.part)
    total, count, sizes = np.zeros(n), 0, 0
    known: list[Floats] = []  # of the starts of one sequence
    for start in range(n):
        if len(known) < period:
            contrast = _contrast(t[start:], x[start:], emf_order)
            if contrast is None:
                break
            known.append(contrast)
        contrast = known[start % period]
        if start + len(contrast) > n:
            break
        total[start : start + len(contrast)] += contrast
        count, sizes = count + 1, sizes + len(contrast)
    return total / max(1, count), sizes / max(1, count)


def _contrast(t: Floats, x: Floats, emf_order: int) -> Floats | None:
    """The weights of the block that begins with the first reading; None where none closes."""
    for length in range(emf_order + 2, len(t) + 1):
        tau = t[:length] - t[:length].mean()
        basis = np.vander(tau / max(float(tau[-1] - tau[0]), 1e-300), emf_order + 1)
        orthogonal, _ = np.linalg.qr(basis)
        z = x[:length] - orthogonal @ (orthogonal.T @ x[:length])
        zz = float(z @ z)
        if zz > 1e-9 and zz * VARIANCE_LIMIT >= float(x[:length] @ x[:length]):
            found: Floats = z / zz
            return found
    return None


def _examined(recipe: Recipe, readings: int, noise: Noise, pace: Pace) -> Scatter:
    """The fit of an examined run: level and slope of the EMF free in each cycle, and all that costs nothing."""
    cycles = max(2, readings // recipe.cycle.readings)
    of_one = _of_two_cycles(noise, recipe.third_level, recipe.nplc, recipe.line_frequency_Hz, recipe.settle_s, pace)
    return _stated(of_one * math.sqrt(_CYCLES / cycles) / recipe.current_A, min(24, max(6, cycles)), 1.96)


@lru_cache(maxsize=1024)
def _of_two_cycles(
    noise: Noise, third_level: bool, nplc: float, line_frequency_Hz: float, settle_s: float, pace: Pace
) -> float:
    """U of R at a working current of 1 A from two cycles, which differ by the first sign alone."""
    recipe = Recipe(
        1.0,
        nplc=nplc,
        line_frequency_Hz=line_frequency_Hz,
        settle_s=settle_s,
        examine=True,
        third_level=third_level,
    )
    count = _CYCLES * recipe.cycle.readings
    series = readings_of_recipe(recipe, count, pace)
    rows = np.array([series.middle_s, series.part, np.zeros(count)])
    whole = readings_of(rows, recipe.cycle, recipe.aperture_s)
    assert whole is not None
    columns = {**resistance_columns(whole), **position_columns(whole)}
    X = np.stack(list(columns.values()), axis=2)
    time_s = series.middle_s[: recipe.cycle.readings]
    basis, _ = np.linalg.qr(np.column_stack([np.ones(len(time_s)), time_s - time_s.mean()]), mode="complete")
    free = basis[:, 2:].T
    factor = np.linalg.cholesky(free @ noise.covariance(time_s, recipe.aperture_s) @ free.T)
    information = np.zeros((X.shape[2], X.shape[2]))
    for columns in X:
        white = np.linalg.solve(factor, free @ columns)
        information += white.T @ white
    return math.sqrt(float(np.linalg.pinv(information, hermitian=True)[0, 0]))
