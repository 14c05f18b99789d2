"""Huber's mean: its defining equation, its loss in clean noise, and what bumps do to it."""

from __future__ import annotations

import numpy as np
import pytest

from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.robust import robust_mean


def test_solves_the_equation_that_defines_it() -> None:
    values = np.random.default_rng(1).standard_normal(200)
    values[::25] += 40.0
    found = robust_mean(values, 1.0)
    assert found is not None
    deviation = 1.4826 * np.median(np.abs(values - np.median(values)))
    assert np.clip((values - found.mean) / deviation, -2, 2).sum() == pytest.approx(0.0, abs=1e-9)
    assert found.outlying == 8


def _estimates(bumps: bool, estimator: Estimator, runs: int = 150) -> tuple[float, float]:
    """Standard deviation over runs, and coverage."""
    rng = np.random.default_rng(9)
    errors, hits = [], 0
    n = 120
    for _ in range(runs):
        t, I = np.arange(n) * 0.1, np.resize([1.0, -1.0], n)
        V = 1000 * I + rng.standard_normal(n)
        if bumps:
            for place in rng.integers(5, n - 5, 3):
                V[place] += 200.0
        found, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist(), estimator=estimator)
        errors.append(found.resistance_ohm - 1000)
        hits += abs(errors[-1]) <= found.repeatability_95_ohm
    return float(np.std(errors)), hits / runs


def test_costs_little_where_nothing_is_wrong() -> None:
    plain, _ = _estimates(False, Estimator.SLIDING)
    robust, coverage = _estimates(False, Estimator.ROBUST)
    assert robust < 1.06 * plain
    assert coverage > 0.9


def test_bumps_move_it_little_and_are_told() -> None:
    plain, _ = _estimates(True, Estimator.SLIDING)
    robust, coverage = _estimates(True, Estimator.ROBUST)
    assert robust < 0.3 * plain
    assert coverage > 0.9
    n = 60
    V = 1000 * np.resize([1.0, -1.0], n) + np.random.default_rng(2).standard_normal(n)
    V[30] += 500
    found, _ = estimate_readings(
        (np.arange(n) * 0.1).tolist(), np.resize([1.0, -1.0], n).tolist(), V.tolist(), estimator=Estimator.ROBUST
    )
    assert found.estimator is Estimator.ROBUST
    assert [(flag.code, flag.severity) for flag in found.flags] == [("outlier-limited", "notice")]
