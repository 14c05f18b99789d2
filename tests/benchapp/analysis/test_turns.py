"""Parts in turns: which readings are whose, and a ratio that keeps what it says."""

import math

import numpy as np
import pytest

from benchapp.analysis.part import analyse_part
from benchapp.analysis.turns import mean_of_turns, parts_in, ratio_in_turns, ratio_moves, turn_values, without

STARTS = [(0, "A"), (4, "B"), (8, "A"), (12, "B")]


def test_each_reading_belongs_to_the_part_that_was_connected() -> None:
    a, b = parts_in(STARTS, 15, pauses=[2, 13])
    assert (a.name, a.indices.tolist(), a.turns, a.pauses) == ("A", [0, 1, 2, 3, 8, 9, 10, 11], (0, 4), (0, 2, 4))
    assert (b.name, b.indices.tolist(), b.turns, b.pauses) == ("B", [4, 5, 6, 7, 12, 13, 14], (0, 4), (0, 4, 5))
    assert parts_in([], 15) == []
    (late,) = parts_in([(15, "C")], 15)
    assert (late.indices.size, late.turns) == (0, ())


def test_what_is_left_out_cuts_a_turn_and_moves_the_others() -> None:
    a = parts_in(STARTS, 16)[0]
    kept = np.ones(16, dtype=bool)
    kept[1:3] = False
    found = without(a, kept)
    assert (found.indices.tolist(), found.turns) == ([0, 3, 8, 9, 10, 11], (0, 2))
    assert 1 in found.pauses


def test_a_turn_that_was_broken_off_is_no_turn() -> None:
    a = parts_in([(0, "A"), (10, "B"), (12, "A")], 15)[0]
    readings = np.array([np.arange(13.0), np.ones(13), np.full(13, 2.0)])
    values = turn_values(readings, a, lambda stretch, pauses: float(stretch[2].mean()))
    assert [(v.time_s, v.resistance_ohm) for v in values] == [(4.5, 2.0)]


def test_the_mean_of_turns_is_students() -> None:
    R = [10.0, 12.0, 11.0, 13.0, 9.0]
    found = mean_of_turns(R)
    assert found is not None
    assert (found.resistance_ohm, found.degrees_of_freedom) == (11.0, 4)
    assert found.standard_uncertainty_ohm == pytest.approx(math.sqrt(2.5 / 5))
    assert mean_of_turns(R[:4]) is None
    assert mean_of_turns([*R, math.nan]) is None


@pytest.mark.parametrize("curved", [0.0, 3e-3])
def test_a_drift_up_to_second_order_falls_out_exactly(curved: float) -> None:
    t = np.array([0.0, 1.1, 1.9, 3.2, 4.0, 4.8, 6.1, 7.0, 8.2])
    standard = np.arange(9) % 2 == 0
    R = np.where(standard, 1e-3, 2.5e-3) * np.exp(2e-3 * t / 8 + curved * (t / 8) ** 2)
    found = ratio_in_turns(t, standard.tolist(), R.tolist())
    assert found.ratio == pytest.approx(2.5, rel=1e-12)
    assert found.standard_uncertainty < 1e-12


def test_it_is_least_squares_as_numpy_has_it() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(11.0)
    standard = np.arange(11) % 2 == 0
    y = np.where(standard, 0.0, 0.3) + 1e-3 * t + 1e-4 * rng.standard_normal(11)
    design = np.column_stack([~standard, np.ones(11), t, t * t]).astype(float)
    expected = np.linalg.lstsq(design, y, rcond=None)[0]
    found = ratio_in_turns(t, standard.tolist(), np.exp(y).tolist())
    assert math.log(found.ratio) == pytest.approx(expected[0], rel=1e-9)


@pytest.mark.parametrize(("of_standard", "of_unknown"), [(1.0, 1.0), (0.1, 1.0), (1.0, 0.1)])
def test_the_interval_holds_whichever_part_is_the_noisy_one(of_standard: float, of_unknown: float) -> None:
    rng = np.random.default_rng(11)
    t, standard = np.arange(11.0), np.arange(11) % 2 == 0
    hits = 0
    for _ in range(600):
        noise = rng.standard_normal(11) * np.where(standard, of_standard, of_unknown)
        y = np.where(standard, 0.0, 0.3) + 1e-4 * (noise + 0.2 * (t - 5) ** 2)
        found = ratio_in_turns(t, standard.tolist(), np.exp(y).tolist())
        hits += abs(found.ratio - math.exp(0.3)) <= found.half_width()
    assert hits / 600 > 0.92  # 95 % but for the luck of 600


@pytest.mark.parametrize("R", [[1.0, -2.0, 1.0] * 3, [1.0, math.nan, 1.0] * 3, [1.0, 2.0, 1.0]])
def test_what_tells_no_ratio_is_refused(R: list[float]) -> None:
    standard = [number % 2 == 0 for number in range(len(R))]
    with pytest.raises(ValueError, match=r"positive|too few"):
        ratio_in_turns(list(map(float, range(len(R)))), standard, R)


def test_contacts_that_scatter_widen_the_interval() -> None:
    rng = np.random.default_rng(5)
    n, turns = 24, 6
    t = np.concatenate([np.arange(n) * 0.05 + 5 * turn for turn in range(turns)])
    I = np.resize([1.0, 1.0, -1.0, -1.0], n * turns)
    R = np.repeat(1e-3 + 1e-6 * rng.standard_normal(turns), n)
    V = R * I + 1e-8 * rng.standard_normal(n * turns)
    readings = np.array([t, I, V])
    part = parts_in([(n * turn, "A") for turn in range(turns)], n * turns)[0]
    found, values = analyse_part(readings, part)
    assert len(values) == turns
    assert found.standard_uncertainty_ohm == pytest.approx(float(np.std(R[::n], ddof=1)) / math.sqrt(turns), rel=0.05)
    assert found.degrees_of_freedom == turns - 1


def test_a_ratio_that_moves_is_told_and_one_that_stands_is_not() -> None:
    rng = np.random.default_rng(7)
    t, standard = np.arange(13.0), np.arange(13) % 2 == 0
    false = 0
    for _ in range(400):
        y = np.where(standard, 0.0, 0.3) + 1e-3 * t + 1e-5 * t * t + 1e-6 * rng.standard_normal(13)
        false += ratio_moves(t, standard.tolist(), np.exp(y).tolist()) != 0
    assert false / 400 < 0.02
    y = np.where(standard, 0.0, 0.3 + 1e-5 * t) + 1e-6 * rng.standard_normal(13)
    assert ratio_moves(t, standard.tolist(), np.exp(y).tolist()) == pytest.approx(1.2e-4, rel=0.1)
