import math

import numpy as np
import pytest

from benchapp.analysis.estimate import Estimator, RunningEstimate, estimate_readings
from benchapp.analysis.running import CompactSeries
from benchapp.analysis.stationarity import Stationarity

R = 250e-6


def run(n: int = 300, *, sigma: float = 5e-9, seed: int = 1, R_of_x: object = None) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    t = 0.04 * np.arange(n)
    I = 0.1 * (-1.0) ** np.arange(n)
    x = np.arange(n) / n
    resistance = R_of_x(x) if callable(R_of_x) else R
    return t, I, resistance * I + 2e-6 + 3e-8 * t + rng.normal(0, sigma, n)


def test_EMF_holds_at_the_mean_time_of_the_readings() -> None:
    t, I, V = run(301, sigma=0.0)
    estimate, _ = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    assert estimate.resistance_ohm == pytest.approx(R, abs=1e-15)
    assert estimate.thermal_emf_V == pytest.approx(2e-6 + 3e-8 * t.mean(), abs=1e-14)
    assert estimate.thermal_emf_slope_V_per_s == pytest.approx(3e-8, rel=1e-6)


def test_interval_is_that_of_the_blocks() -> None:
    t, I, V = run(90)
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist(), estimator=Estimator.BLOCKS)
    values = blocks[1].tolist()
    assert estimate.blocks == len(values) == 30
    assert estimate.resistance_ohm == pytest.approx(np.mean(values))
    assert estimate.standard_uncertainty_ohm == pytest.approx(np.std(values, ddof=1) / math.sqrt(30))
    assert estimate.coverage_factor == pytest.approx(2.045, abs=5e-4)  # Student's t, 29 degrees of freedom
    assert estimate.repeatability_95_ohm == pytest.approx(estimate.coverage_factor * estimate.standard_uncertainty_ohm)


def test_reading_noise_is_found_again_and_its_density_is_that_of_the_aperture() -> None:
    t, I, V = run(3000)
    estimate = estimate_readings(t.tolist(), I.tolist(), V.tolist(), aperture_s=0.02)[0]
    assert estimate.reading_noise_V == pytest.approx(5e-9, rel=0.06)
    assert estimate.noise_V_per_rt_Hz == pytest.approx(estimate.reading_noise_V * math.sqrt(0.04))


def test_sliding_blocks_are_the_default_but_for_short_runs() -> None:
    t, I, V = (column.tolist() for column in run(90))
    long, blocks = estimate_readings(t, I, V)
    short, _ = estimate_readings(t[:21], I[:21], V[:21])
    assert (long.estimator, short.estimator) == (Estimator.SLIDING, Estimator.BLOCKS)
    assert blocks.shape[1] == 30
    # 88 blocks of three readings each: B = floor(3 * 88 / (8 * 3)).
    assert long.degrees_of_freedom == 11


def test_before_there_is_anything_the_estimate_says_so() -> None:
    estimate = RunningEstimate().estimate()
    assert math.isnan(estimate.resistance_ohm)
    assert math.isnan(estimate.expanded_uncertainty_ohm)
    assert estimate.state is Stationarity.SETTLING


@pytest.mark.parametrize(
    ("shape", "state"),
    [
        (None, Stationarity.STEADY),
        (lambda x: R * (1 + 2e-3 * x), Stationarity.DRIFTING),
        (lambda x: R * (1 + 2e-2 * np.exp(-x / 0.05)), Stationarity.SETTLING),
    ],
)
def test_states(shape: object, state: Stationarity) -> None:
    t, I, V = run(600, R_of_x=shape)
    assert estimate_readings(t.tolist(), I.tolist(), V.tolist())[0].state is state


def test_state_alarms_are_rare_on_steady_runs() -> None:
    states = [
        estimate_readings(*[column.tolist() for column in run(150, seed=1000 + seed)])[0].state for seed in range(400)
    ]
    # 1 % each for drift and transient: of 400 runs 8 are expected; more than 18 has a chance of 0.1 %.
    assert sum(state is not Stationarity.STEADY for state in states) <= 18


def test_fewer_than_five_blocks_are_settling() -> None:
    t, I, V = run(12)
    estimate = estimate_readings(t.tolist(), I.tolist(), V.tolist())[0]
    assert (estimate.blocks, estimate.state) == (4, Stationarity.SETTLING)


def test_an_overload_is_flagged_and_in_no_block() -> None:
    t, I, V = run(90)
    V[10] = 9.9e37
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    assert [flag.code for flag in estimate.flags] == ["overload"]
    assert estimate.readings == 90
    assert (np.abs(blocks[1] / R - 1) < 0.01).all()


def test_compact_series_keeps_means_of_equal_groups() -> None:
    series = CompactSeries()
    for start in range(0, 1000, 37):
        series.extend(np.arange(float(start), float(min(1000, start + 37))))
    assert series.group == 8
    assert series.values == pytest.approx([8 * k + 3.5 for k in range(125)])


def test_stated_interval_covers_the_truth_and_the_naive_one_does_not() -> None:
    """2,000 runs with random-walk EMF; blocks sharing no reading cover 95 %, s/root n of overlapping ones far less."""
    rng = np.random.default_rng(20261126)
    n, runs, good, naive = 90, 2000, 0, 0
    I = 0.1 * (-1.0) ** np.arange(n)
    t = np.arange(n) * 0.04
    for _ in range(runs):
        V = R * I + np.cumsum(rng.normal(0, 2.5e-9, n)) + rng.normal(0, 5e-9, n)
        estimate = estimate_readings(t.tolist(), I.tolist(), V.tolist())[0]
        good += abs(estimate.resistance_ohm - R) <= estimate.repeatability_95_ohm
        d = (V[:-2] - 2 * V[1:-1] + V[2:]) / 4 / I[:-2]
        naive += abs(d.mean() - R) <= 1.96 * d.std(ddof=1) / math.sqrt(n - 2)
    assert 0.935 < good / runs < 0.967  # 95 % plus or minus three standard deviations of the binomial
    assert naive / runs < 0.85
