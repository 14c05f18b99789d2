"""Each trap on a run that has it, and none on runs that have none; rates stand in tests/statistics/traps.py."""

import tracemalloc

import numpy as np
import pytest

from benchapp.analysis.estimate import estimate_readings
from benchapp.analysis.traps.detect import with_traps
from tests.statistics.estimators import KINDS, currents
from tests.statistics.traps import TRAPS


def codes(signs: str, change: object, seed: int = 3, n: int = 120, kind: str = "white") -> list[str]:
    rng = np.random.default_rng(seed)
    t, I = np.arange(n, dtype=np.float64) * 0.1, currents(signs, n, rng)
    V = 1000 * I + KINDS[kind](rng, n) + rng.standard_normal(n)
    if callable(change):
        V = change(rng, t, I, V, 0.2)
    columns = (t.tolist(), I.tolist(), V.tolist())
    estimate, blocks = estimate_readings(*columns, middle_A=0.0)
    return [flag.code for flag in with_traps(estimate, *columns, blocks).flags]


@pytest.mark.parametrize(
    "name", [name for name in TRAPS if name not in ("R-noise, memory 0.9", "step at 0.5, 3 U", "noise x 3")]
)
def test_each_trap_is_named(name: str) -> None:
    signs, code, change = TRAPS[name]
    assert codes(signs, change, n=400) == [code]


def test_clean_runs_are_left_alone() -> None:
    alarms = sum(bool(codes("+-", None, seed)) for seed in range(300))
    # 2 % of 300 are 6; more than 15 has a chance below 0.1 %.
    assert alarms <= 15


def test_a_gap_in_time_is_a_notice() -> None:
    t = np.arange(60.0) * 0.1
    t[30:] += 20.0
    rng = np.random.default_rng(1)
    I = currents("+-", 60, rng)
    V = 1000 * I + rng.standard_normal(60)
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    flags = with_traps(estimate, t, I, V, blocks).flags
    assert [(flag.code, flag.severity) for flag in flags] == [("time-gap", "notice")]


def test_noise_with_a_memory_widens_the_interval() -> None:
    signs, _, change = TRAPS["R-noise, memory 0.9"]
    n, widened = 400, 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        t, I = np.arange(n, dtype=np.float64) * 0.1, currents(signs, n, rng)
        V = change(rng, t, I, 1000 * I + rng.standard_normal(n), 0.1)
        estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
        flagged = with_traps(estimate, t, I, V, blocks)
        if [flag.code for flag in flagged.flags] == ["correlated-noise"]:
            assert flagged.expanded_uncertainty_ohm >= estimate.expanded_uncertainty_ohm
            widened += flagged.degrees_of_freedom == 4
    assert widened >= 6


def test_short_runs_claim_nothing() -> None:
    assert codes("+-", None, n=12) == []


def test_long_runs_take_memory_by_their_length_only() -> None:
    n = 60_000
    rng = np.random.default_rng(2)
    t, I = np.arange(n, dtype=np.float64) * 0.1, currents("+-", n, rng)
    V = 1000 * I + rng.standard_normal(n)
    rows = np.zeros((6, n // 3))
    rows[0], rows[1] = t[1::3], 1000 + rng.standard_normal(n // 3)
    estimate, _ = estimate_readings(t[:90].tolist(), I[:90].tolist(), V[:90].tolist())
    tracemalloc.start()
    with_traps(estimate, t, I, V, rows)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 200e6


def two_currents(R_of_I: object, seed: int = 4) -> list[str]:
    rng = np.random.default_rng(seed)
    n = 200
    t = np.arange(n, dtype=np.float64) * 0.1
    I = np.where(np.arange(n) < n // 2, 1.0, 2.0) * (-1.0) ** np.arange(n)
    assert callable(R_of_I)
    V = np.array([R_of_I(abs(i)) for i in I]) * I + rng.standard_normal(n)
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    return [flag.code for flag in with_traps(estimate, t, I, V, blocks).flags]


def test_two_currents_tell_whether_the_part_is_ohmic() -> None:
    assert two_currents(lambda i: 1000.0) == []
    assert two_currents(lambda i: 1000.0 + i**2) == ["non-ohmic"]


def test_unequal_currents_are_a_notice_and_do_no_harm_where_they_are_recorded() -> None:
    rng = np.random.default_rng(9)
    n = 120
    t = np.arange(n, dtype=np.float64) * 0.1
    I = np.where(np.arange(n) % 2 == 0, 1.0, -0.98)
    V = 1000 * I + 5.0 + rng.standard_normal(n)
    estimate, blocks = estimate_readings(t.tolist(), I.tolist(), V.tolist())
    flagged = with_traps(estimate, t, I, V, blocks)
    assert [(flag.code, flag.severity) for flag in flagged.flags] == [("current-asymmetry", "notice")]
    assert abs(flagged.resistance_ohm - 1000) < 2 * flagged.expanded_uncertainty_ohm
