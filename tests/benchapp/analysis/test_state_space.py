"""The state-space estimate against dense generalised least squares, and its interval where signs are irregular."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from benchapp.analysis.estimate import Estimator, estimate_readings
from benchapp.analysis.state_space import StateSpaceSeries, state_space
from benchapp.analysis.student import coverage_factor
from benchapp.analysis.traps.detect import cross_check


def _run(rng: np.random.Generator, n: int, walk: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    I = rng.choice([-1.0, 1.0], n)
    emf = np.cumsum(rng.standard_normal(n)) * walk
    return np.arange(n) * 0.1, I, 1000.0 * I + emf + rng.standard_normal(n)


def _dense(t: np.ndarray, I: np.ndarray, V: np.ndarray) -> tuple[float, float]:
    """R and q by the full covariance of the readings, E(0) as one more unknown: the definition, in n^3 work."""
    n = len(t)
    k = np.arange(n)
    walk = np.minimum.outer(k, k).astype(float)
    X = np.column_stack([I, np.ones(n)])

    def fit(log_q: float) -> tuple[float, float]:
        covariance = np.eye(n) + 10.0**log_q * walk
        inverse = np.linalg.inv(covariance)
        normal = X.T @ inverse @ X
        beta = np.linalg.solve(normal, X.T @ inverse @ V)
        rest = V - X @ beta
        variance = float(rest @ inverse @ rest) / (n - 2)
        logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
        return float(beta[0]), float(logs + (n - 2) * math.log(variance))

    found = minimize_scalar(lambda x: fit(x)[1], bounds=(-2.0, 2.0), method="bounded", options={"xatol": 1e-3})
    return fit(found.x)[0], 10.0**found.x


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_the_definition(seed: int) -> None:
    t, I, V = _run(np.random.default_rng(seed), 60, 1.0)
    found = state_space(t, I, V)
    assert found is not None
    R, q = _dense(t, I, V)
    assert found.resistance_ohm == pytest.approx(R, abs=2e-3)
    assert math.log10(found.walk_variance_V2 / found.reading_variance_V2) == pytest.approx(math.log10(q), abs=0.05)


@pytest.mark.parametrize("walk", [0.0, 0.5, 3.0])
@pytest.mark.parametrize("n", [24, 120])
def test_the_interval_covers_where_signs_are_irregular(walk: float, n: int) -> None:
    rng = np.random.default_rng([n, int(10 * walk)])
    hits = 0
    for _ in range(300):
        found = state_space(*_run(rng, n, walk))
        assert found is not None
        half = found.standard_uncertainty_ohm * coverage_factor(found.degrees_of_freedom, 0.95)
        hits += abs(found.resistance_ohm - 1000.0) <= half
    assert 0.91 <= hits / 300 <= 0.985


def test_a_pause_may_change_the_emf_at_will() -> None:
    rng = np.random.default_rng(5)
    t, I, V = _run(rng, 80, 0.0)
    clean = state_space(t, I, V, [40])
    jumped = state_space(t, I, V + np.where(np.arange(80) >= 40, 1e6, 0.0), [40])
    assert clean is not None
    assert jumped is not None
    assert jumped.resistance_ohm == pytest.approx(clean.resistance_ohm, abs=1e-6)


def test_irregular_signs_are_estimated_by_it() -> None:
    t, I, V = _run(np.random.default_rng(7), 48, 0.5)
    estimate, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    assert estimate.estimator is Estimator.STATE_SPACE
    series = StateSpaceSeries()
    series.extend(t[:20], I[:20], V[:20])
    series.extend(t[20:], I[20:], V[20:])
    found = series.estimate()
    assert found is not None
    assert estimate.resistance_ohm == found.resistance_ohm


def test_too_few_readings_or_one_current_give_nothing() -> None:
    t, I, V = _run(np.random.default_rng(7), 11, 0.5)
    assert state_space(t, I, V) is None
    assert state_space(np.arange(30.0), np.ones(30), np.ones(30)) is None


def test_the_cross_check_speaks_where_the_stated_value_lies_outside_both_intervals() -> None:
    rng = np.random.default_rng(3)
    n = 120
    t, I = np.arange(n, dtype=np.float64) * np.float64(0.1), np.resize([1.0, -1.0, -1.0, 1.0], n)
    V = 1000 * I + rng.standard_normal(n)
    stated, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    assert cross_check(stated, t, I, V) is None
    half = stated.repeatability_95_ohm
    flag = cross_check(replace(stated, resistance_ohm=stated.resistance_ohm + 3 * half), t, I, V)
    assert flag is not None
    assert (flag.code, flag.severity) == ("estimates-differ", "warning")


def test_the_cross_check_is_quiet_under_a_curvature_that_the_sliding_blocks_stand() -> None:
    rng = np.random.default_rng(4)
    n = 120
    t, I = np.arange(n, dtype=np.float64) * np.float64(0.1), np.resize([1.0, -1.0], n)
    V = 1000 * I + 2000 * np.exp(-np.arange(n) / 15) + rng.standard_normal(n)
    sliding, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    assert abs(sliding.resistance_ohm - 1000) < sliding.repeatability_95_ohm
    assert cross_check(sliding, t, I, V) is None
