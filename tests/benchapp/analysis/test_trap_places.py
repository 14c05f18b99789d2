"""Traps say which readings they concern."""

import numpy as np
import pytest

from benchapp.analysis.estimate import estimate_readings
from benchapp.analysis.traps.detect import with_traps

_PLACE_S = 12.0  # reading 120 of 240, ten a second


def _voltage(code: str, t: np.ndarray, I: np.ndarray, noise: np.ndarray) -> np.ndarray:
    V: np.ndarray = 1000 * I + noise
    after = t >= _PLACE_S
    if code == "outlier":
        V[120] += 60
    elif code == "step":
        V += np.where(after, 4 * I, 0)
    elif code == "polarity-slip":
        V = np.where(after & (t < _PLACE_S + 4), -1000 * I, 1000 * I) + noise
    elif code == "range-changed":
        V += np.where(after, 6 * noise, 0)
    elif code == "overload":
        V[120:124] = 9.9e37
    return V


@pytest.mark.parametrize("code", ["outlier", "step", "polarity-slip", "range-changed", "overload", "time-gap"])
def test_the_place_is_told(code: str) -> None:
    rng = np.random.default_rng(11)
    t, I = np.arange(240) * 0.1, np.resize([1.0, -1.0], 240)
    V = _voltage(code, t, I, rng.standard_normal(240))
    if code == "time-gap":
        t = np.where(t >= _PLACE_S, t + 30, t)
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    flagged = with_traps(estimate, t.tolist(), I.tolist(), V.tolist(), blocks)
    where = {flag.code: flag.where_s for flag in flagged.flags}[code]
    assert min(abs(start - _PLACE_S) for start, _ in where) < 1.0
