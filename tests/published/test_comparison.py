"""Comparison with a standard: drift-free by the order of turns, and what turns alone cannot tell."""

import math

import numpy as np
import pytest

from benchapp.analysis.comparison import Turn, compare
from tests.published.references import reference


def test_order_of_the_handbook_is_free_of_drift() -> None:
    # NIST/SEMATECH e-Handbook 2.3.3.1.2: X - 3d, R - d, R + d, X + 3d. Here a small d on values near 1, as ratios.
    d = reference("ehandbook-abba")["inputs"]["worked_values"]["d"] * 1e-6
    X, R = 1.0005, 1.0
    turns = [
        Turn(0, False, X * math.exp(-3 * d), 1e-9),
        Turn(1, True, R * math.exp(-d), 1e-9),
        Turn(2, True, R * math.exp(d), 1e-9),
        Turn(3, False, X * math.exp(3 * d), 1e-9),
    ]
    found = compare(turns)
    assert found.ratio == pytest.approx(X / R, rel=1e-13)
    assert found.drift_per_s == pytest.approx(2 * d, rel=1e-6)


@pytest.mark.parametrize("own", [True, False])
def test_the_interval_covers(own: bool) -> None:
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(600):
        noise = rng.normal(0, 1e-6, 8)
        turns = [
            Turn(k * 60.0, k % 2 == 0, (1.0 if k % 2 == 0 else 2.5) * (1 + 3e-6 * k + noise[k]), 0.0) for k in range(8)
        ]
        if own:
            turns = [Turn(t.time_s, t.of_standard, t.resistance_ohm, 1e-6 * t.resistance_ohm) for t in turns]
        found = compare(turns)
        hits += abs(found.ratio - 2.5) <= found.half_width()
    assert 0.93 <= hits / 600 <= 0.98 if own else 0.92 <= hits / 600 <= 0.975


def test_one_after_the_other_tells_no_ratio_from_drift() -> None:
    with pytest.raises(ValueError, match="in turns"):
        compare([Turn(0, True, 1.0, 1e-6), Turn(60, False, 2.0, 1e-6)])


def test_a_source_that_is_off_by_a_percent_falls_out() -> None:
    turns = [Turn(k, k % 2 == 0, 1.01 * (1.0 if k % 2 == 0 else 0.3), 1e-9) for k in range(5)]
    assert compare(turns).ratio == pytest.approx(0.3, rel=1e-12)
