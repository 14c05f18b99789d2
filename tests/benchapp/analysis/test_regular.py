"""A long run taken at once gives what reading by reading gives."""

import numpy as np
import pytest

from benchapp.analysis.estimate import Estimator, RunningEstimate
from benchapp.analysis.regular import regular_blocks


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
    blocks = [b for r in zip(t.tolist(), I.tolist(), V.tolist(), strict=True) if (b := slow.push(*r)) is not None]
    taken = fast.take_all(t, I, V)
    if taken is None:
        assert len({block.readings for block in blocks}) > 1  # blocks of several lengths: left to the slow way
        return
    assert np.allclose(np.array(taken), np.array(blocks), rtol=1e-9, atol=0, equal_nan=True)
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
    V[100] = 9.9e37
    assert RunningEstimate(1, 0.0).take_all(t, I, V) is None
