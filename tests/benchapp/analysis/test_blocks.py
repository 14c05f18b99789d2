import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchapp.analysis.blocks import Block, BlockFormer, fit_block, middle_of


def form(signs: str, order: int, n: int, current: float = 1.0) -> list[Block]:
    levels = [{"+": current, "-": -current, "0": 0.0}[sign] for sign in signs]
    former = BlockFormer(order, middle_of(min(levels), max(levels)))
    value = {"+": current, "-": -current, "0": 0.0}
    found = (former.push(float(k), value[signs[k % len(signs)]], 0.0) for k in range(n))
    return [block for block in found if block is not None]


@pytest.mark.parametrize(
    ("signs", "order", "sizes"),
    [
        ("+-", 0, {2}), ("+-", 1, {3}), ("+-", 2, {4}), ("-+", 1, {3}), ("+--+", 1, {4}), ("+0-", 0, {3}),
        # Three of ++-- have 1.125 times the least variance, five of +--+- at order 2 have 1.22 times: they close early.
        ("++--", 0, {2, 3}), ("+--+-++-", 2, {5, 11}),
    ],
)  # fmt: skip
def test_a_block_closes_at_the_first_reading_that_determines_R(signs: str, order: int, sizes: set[int]) -> None:
    assert {block.readings for block in form(signs, order, 80)} == sizes


@pytest.mark.parametrize("signs", ["+0-", "++--", "++++----", "+0-0", "+-0", "+0", "0+"])
@pytest.mark.parametrize("order", [0, 1, 2])
def test_any_sign_sequence_closes_blocks(signs: str, order: int) -> None:
    assert form(signs, order, 200)


def test_a_constant_current_never_determines_R() -> None:
    assert form("+", 0, 1000) == []


def test_a_current_that_only_jitters_determines_nothing() -> None:
    former = BlockFormer(1, middle_of(0.999, 1.001))
    assert not any(former.push(float(k), 1.0 + 1e-3 * (-1) ** k, 0.0) for k in range(1000))


@settings(max_examples=60, deadline=None)
@given(
    order=st.integers(0, 2),
    signs=st.sampled_from(["+-", "+--+", "+0-0", "++--", "-+"]),
    coefficients=st.tuples(*[st.floats(-1e-5, 1e-5)] * 3),
    seed=st.integers(0, 1000),
)
def test_an_EMF_up_to_the_block_s_order_leaves_R_alone(
    order: int, signs: str, coefficients: tuple[float, float, float], seed: int
) -> None:
    rng = np.random.default_rng(seed)
    n, R = 60, 1.234e-4
    t = np.cumsum(rng.uniform(0.8, 1.2, n))
    I = np.array([{"+": 1.0, "-": -1.0, "0": 0.0}[signs[k % len(signs)]] for k in range(n)]) * rng.uniform(
        0.99, 1.01, n
    )
    E = sum(c * (t / 60) ** k for k, c in enumerate(coefficients[: order + 1]))
    former = BlockFormer(order)
    blocks = [b for b in map(former.push, t.tolist(), I.tolist(), (R * I + E).tolist()) if b is not None]
    assert blocks
    for block in blocks:
        assert block.resistance_ohm == pytest.approx(R, abs=1e-13)


@pytest.mark.parametrize("order", [0, 1, 2])
def test_least_squares_agrees_with_numpy(order: int) -> None:
    rng = np.random.default_rng(order)
    t, V = np.sort(rng.uniform(0, 3, 9)), rng.normal(size=9)
    I = rng.choice([-2.0, 0.0, 2.0], 9)
    block = fit_block(t.tolist(), I.tolist(), V.tolist(), order)
    X = np.column_stack([I, *[(t - t.mean()) ** k for k in range(order + 1)]])
    solution = np.linalg.lstsq(X, V, rcond=None)[0]
    assert block is not None
    assert block.resistance_ohm == pytest.approx(solution[0])
    assert block.thermal_emf_V == pytest.approx(solution[1])
    if order:
        assert block.thermal_emf_slope_V_per_s == pytest.approx(solution[2])
    assert block.sensitivity_per_A == pytest.approx(math.sqrt(np.linalg.inv(X.T @ X)[0, 0]))


def test_no_block_spans_a_pause_told() -> None:
    former = BlockFormer(1)
    former.push(0.0, 1.0, 0.0)
    former.push(1.0, -1.0, 0.0)
    former.break_block()
    assert former.push(2.0, 1.0, 0.0) is None
    assert former.left_out == 2


def test_no_block_spans_a_gap_in_time() -> None:
    former = BlockFormer(1)
    times = [float(k) for k in range(8)] + [57.0 + k for k in range(3)]
    blocks = [former.push(t, (-1.0) ** k, 0.0) for k, t in enumerate(times)]
    assert [k for k, block in enumerate(blocks) if block is not None] == [2, 5, 10]


def test_settling_after_a_reversal_is_no_gap() -> None:
    former = BlockFormer(1)
    t, closed = 0.0, 0
    for k in range(160):
        t += 0.52 if k % 8 == 0 else 0.02
        closed += former.push(t, 1.0 if k // 8 % 2 == 0 else -1.0, 0.0) is not None
    assert former.left_out == 0
    assert closed >= 4
