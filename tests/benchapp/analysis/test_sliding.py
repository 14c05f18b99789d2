import math

import numpy as np
import pytest

from benchapp.analysis.blocks import BlockFormer, middle_of
from benchapp.analysis.sliding import GroupMeans, SlidingSeries, sliding_blocks
from benchapp.analysis.slow_part import slow_uncertainty


def run(signs: str, n: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.9, 1.1, n))
    I = np.array([{"+": 1.0, "-": -1.0, "0": 0.0}[signs[k % len(signs)]] for k in range(n)])
    return t, I, 1e-4 * I + 1e-6 * t + rng.normal(0, 1e-8, n)


@pytest.mark.parametrize("signs", ["+-", "+--+", "++--", "+0-0", "+0"])
@pytest.mark.parametrize("order", [0, 1, 2])
def test_each_start_gives_the_block_that_the_former_would_close_there(signs: str, order: int) -> None:
    t, I, V = run(signs, 40)
    middle = middle_of(I.min(), I.max())
    found = sliding_blocks(t, I, V, emf_order=order, middle_A=middle)
    assert len(found.resistance_ohm) > 15
    for start, (R, size) in enumerate(zip(found.resistance_ohm, found.readings, strict=True)):
        former = BlockFormer(order, middle)
        for index in range(start, 40):
            block = former.push(t[index], I[index], V[index])
            if block is not None:
                assert block.readings == size
                assert block.resistance_ohm == pytest.approx(R, rel=1e-9)
                break


def test_a_series_taken_up_in_pieces_is_the_same_as_at_once() -> None:
    t, I, V = run("+--+", 500)
    whole, pieces = SlidingSeries(1, 0.0), SlidingSeries(1, 0.0)
    whole.extend(t, I, V)
    for k in range(0, 500, 7):
        pieces.extend(t[k : k + 7], I[k : k + 7], V[k : k + 7])
        pieces.update()
    whole.update()
    pieces.update()
    assert whole.count == pieces.count
    assert whole.mean_ohm == pytest.approx(pieces.mean_ohm, rel=1e-14)
    assert whole.groups.values == pytest.approx(pieces.groups.values)


def test_a_cut_keeps_blocks_from_spanning_a_pause() -> None:
    series = SlidingSeries(1, 0.0)
    k = np.arange(6.0)
    series.extend(k[:3], (-1.0) ** k[:3], np.zeros(3))
    series.cut()
    series.extend(k[3:], (-1.0) ** k[3:], np.zeros(3))
    series.update()
    assert series.count == 2


def test_group_means_keep_the_mean() -> None:
    values = np.random.default_rng(2).normal(size=5000)
    groups = GroupMeans()
    for part in np.array_split(values, 37):
        groups.extend(part)
    assert groups.group == 8
    assert groups.values == pytest.approx(values[: len(groups.values) * 8].reshape(-1, 8).mean(axis=1))


def test_slow_part_of_a_white_series_is_s_over_root_n() -> None:
    rng = np.random.default_rng(5)
    squares = [slow_uncertainty(rng.normal(size=400), 1, 1.0)[0] ** 2 for _ in range(500)]
    assert math.sqrt(np.mean(squares)) == pytest.approx(1 / math.sqrt(400), rel=0.02)


def test_slow_part_by_groups_agrees_with_the_whole() -> None:
    values = np.random.default_rng(6).normal(size=8192)
    whole, degrees = slow_uncertainty(values, 1, 3.0)
    grouped, same = slow_uncertainty(values.reshape(-1, 8).mean(axis=1), 8, 3.0)
    assert degrees == same == 40
    assert grouped == pytest.approx(whole, rel=0.01)
