"""A long run taken at once gives what reading by reading gives."""

import numpy as np
import pytest

from benchapp.analysis.estimate import Estimator, RunningEstimate, estimate_readings
from benchapp.analysis.find_blocks import block_columns, find_blocks
from benchapp.analysis.regular import regular_blocks
from benchapp.analysis.running_blocks import RunningBlocks


def _run(signs: str, n: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    I = np.resize([1.0 if s == "+" else -1.0 for s in signs], n)
    t = np.arange(n) * 0.1 + np.cumsum(np.r_[False, I[1:] != I[:-1]]) * 0.02 + rng.uniform(0, 1e-4, n)
    return t, I, 1e-3 * I + 1e-6 + np.cumsum(rng.standard_normal(n)) * 1e-9 + 1e-8 * rng.standard_normal(n)


@pytest.mark.parametrize("signs", ["+-", "+--+", "++--"])
@pytest.mark.parametrize("order", [0, 1])
@pytest.mark.parametrize("estimator", [Estimator.SLIDING, Estimator.BLOCKS, Estimator.ROBUST])
def test_the_same_numbers(signs: str, order: int, estimator: Estimator) -> None:
    t, I, V = _run(signs, 3001)
    slow, fast = (RunningEstimate(order, 0.0, 0.1, estimator) for _ in range(2))
    readings = np.stack([t, I, V])
    one_by_one = RunningBlocks(order, 0.0)
    blocks = block_columns([b for r in readings.T.tolist() if (b := one_by_one.push(*r)) is not None])
    taken, cuts = find_blocks(readings, emf_order=order, middle_A=0.0)
    assert cuts == []
    assert np.allclose(taken, blocks, rtol=1e-9, atol=0, equal_nan=True)
    slow.take(readings, blocks)
    for k in range(0, 3001, 500):
        past = taken[:, (taken[0] >= (t[k - 1] if k else -1)) & (taken[0] < (t[k + 499] if k < 2900 else np.inf))]
        fast.take(readings[:, k : k + 500], past)
    one, other = slow.estimate(), fast.estimate()
    assert other.estimator == one.estimator
    for name in (
        "resistance_ohm",
        "expanded_uncertainty_ohm",
        "block_deviation_ohm",
        "thermal_emf_V",
        "reading_noise_V",
    ):
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-10)
    assert (other.blocks, other.readings, other.state) == (one.blocks, one.readings, one.state)


def test_what_is_not_regular_is_left_alone() -> None:
    t, I, V = _run("+-", 3000)
    gap = np.where(np.arange(3000) > 1500, t + 60, t)
    assert regular_blocks(gap, I, V, 1, 0.0) is None
    assert regular_blocks(t, np.random.default_rng(1).choice([-1.0, 1.0], 3000), V, 1, 0.0) is None
    assert regular_blocks(t, I, V, 2, 0.0) is None


def test_an_overload_is_in_no_block() -> None:
    t, I, V = _run("+-", 300)
    V[100] = 9.9e37
    estimate, blocks = estimate_readings(t, I, V)
    assert blocks[1].max() < 1.0
    assert [flag.code for flag in estimate.flags] == ["overload"]
    assert estimate.readings == 300
