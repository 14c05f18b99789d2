"""Does R itself move during the run: a step, self-heating, a drift, or noise with a memory?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.student import beta_quantile, t_quantile
from benchapp.analysis.traps.run_data import Floats

_TIME_CONSTANTS = (0.03, 0.1, 0.3, 1.0)
_FINE = tuple(np.geomspace(0.02, 1.5, 40))
_LEAST_BLOCKS = 8


@dataclass(frozen=True, slots=True)
class Shape:
    """What the blocks' values follow: "step", "self-heating" or "drift-excess", and what is left of them."""

    code: str
    fitted_ohm: Floats
    residual_ohm: Floats

    def at(self, time_s: Floats, block_time_s: Floats) -> Floats:
        """What R follows at any time; a step is sharp, halfway between its blocks."""
        if self.code != "step":
            between: Floats = np.interp(time_s, block_time_s, self.fitted_ohm)
            return between
        start, end = self._step(block_time_s)
        found: Floats = np.where(time_s < (start + end) / 2, self.fitted_ohm[0], self.fitted_ohm[-1])
        return found

    def edge_s(self, block_time_s: Floats) -> tuple[float, float]:
        """Start and end of the readings among which a step may lie: the two blocks on either side."""
        start, end = self._step(block_time_s)
        half = (end - start) / 2
        return start - half, end + half

    def _step(self, block_time_s: Floats) -> tuple[float, float]:
        place = int(np.argmax(np.abs(np.diff(self.fitted_ohm))))
        return float(block_time_s[place]), float(block_time_s[place + 1])


def find_shape(time_s: Floats, block_ohm: Floats, significance: float) -> Shape | None:
    """The shape of R over the run where one is significant, over all shapes together; else None."""
    n = len(block_ohm)
    if n < _LEAST_BLOCKS:
        return None
    x = (time_s - time_s[0]) / (time_s[-1] - time_s[0] or 1.0)
    exponentials = [np.exp(-x / tau) for tau in _TIME_CONSTANTS]
    rest_step, best_step = _best_step(block_ohm)
    rest_exponential, _ = _best(block_ohm, exponentials)
    rest_line, best_line = _best(block_ohm, [x])
    total = float(np.sum((block_ohm - block_ohm.mean()) ** 2))
    least = min(rest_step, rest_exponential, rest_line)
    if total <= 0:
        return None
    t_value = math.sqrt((total - least) / max(least, 1e-300 * total) * (n - 2)) if least > 0 else math.inf
    trials = max(1.0, 7.2 * math.log(n) - 8.9)
    if t_value <= t_quantile(1 - significance / (2 * trials), n - 3):
        return None
    smooth = min(rest_exponential, rest_line)
    if n * math.log(max(smooth, 1e-300) / max(rest_step, 1e-300)) > 6:
        return _step_shape(block_ohm, best_step > 0.5)
    if n * math.log(max(rest_line, 1e-300) / max(rest_exponential, 1e-300)) < 2:
        return _shape("drift-excess", block_ohm, best_line)
    # Its time constant anew and finer: what a coarse one leaves over would look like noise with a memory.
    _, finest = _best(block_ohm, [np.exp(-x / tau) for tau in _FINE])
    return _shape("self-heating", block_ohm, finest)


def is_correlated(residual_ohm: Floats) -> bool:
    """Whether the blocks' values have a memory: too much of their scatter is slow."""
    n = len(residual_ohm)
    if n < 12:
        return False
    centred = residual_ohm - residual_ohm.mean()
    variance = float(centred @ centred) / (n - 1)
    if variance <= 0:
        return False
    from scipy.fft import dct

    used = min(40, max(3, n // 8))
    slow = math.sqrt(1 / (2 * n)) * dct(centred, type=2)[1 : used + 1]
    limit = (n - 1) / used * beta_quantile(0.998, used / 2, (n - 1 - used) / 2)
    return float(slow @ slow) / used / variance > limit


def _best(y: Floats, shapes: list[Floats]) -> tuple[float, Floats]:
    """Least residual sum of squares of y = a + b*shape, and the shape that gives it."""
    S = np.array(shapes)
    S -= S.mean(axis=1, keepdims=True)
    dy = y - y.mean()
    rests = float(dy @ dy) - (S @ dy) ** 2 / np.maximum((S * S).sum(axis=1), 1e-300)
    best = int(np.argmin(rests))
    return max(0.0, float(rests[best])), shapes[best]


def step_place(y: Floats) -> int:
    """The first value after the step that describes the series best."""
    return int(np.argmax(_best_step(y)[1]))


def _best_step(y: Floats) -> tuple[float, Floats]:
    """The same for all steps that leave two values on either side, by running sums."""
    n = len(y)
    dy = y - y.mean()
    k = np.arange(2, n - 1)
    before = np.cumsum(dy)[k - 1]  # the whole sums to 0
    rests = float(dy @ dy) - before**2 / k - before**2 / (n - k)
    best = int(np.argmin(rests))
    return max(0.0, float(rests[best])), np.where(np.arange(n) < k[best], 0.0, 1.0)


def _step_shape(y: Floats, after: NDArray[np.bool_]) -> Shape:
    """By medians: the one block that holds the step lies anywhere in between and must pull neither side."""
    fitted = np.where(after, np.median(y[after]), np.median(y[~after]))
    return Shape("step", fitted, y - fitted)


def _shape(code: str, y: Floats, shape: Floats) -> Shape:
    centred = shape - shape.mean()
    dy = y - y.mean()
    rest: Floats = dy - (dy @ centred) / (centred @ centred) * centred
    return Shape(code, y - rest, rest)
