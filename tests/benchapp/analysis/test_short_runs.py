"""A run too short for most questions is still asked whether there is a signal, and says what was not asked."""

from collections.abc import Callable

import numpy as np
import pytest

from benchapp.analysis.analyst import analyse
from benchapp.result.decision import DecisionRule
from benchapp.result.statement import Statement, Terms, make_statement
from benchapp.result.validity import Validity


def _stated(signal: Callable[[np.ndarray, np.random.Generator], np.ndarray], n: int, seed: int) -> Statement:
    rng = np.random.default_rng(seed)
    I = np.resize([1.0, -1.0], n)
    estimate, _ = analyse((np.arange(n) * 0.1).tolist(), I.tolist(), signal(I, rng).tolist())
    return make_statement(estimate, I, Terms(1.0, DecisionRule(-1.0, 1.0)))


@pytest.mark.parametrize("n", [9, 12, 18])
def test_exchanged_and_standing_are_never_passed(n: int) -> None:
    for seed in range(30):
        exchanged = _stated(lambda I, rng: -1e-3 * I + 1e-8 * rng.standard_normal(len(I)), n, seed)
        standing = _stated(lambda I, rng: np.full(len(I), 1.234567e-3), n, seed)
        assert exchanged.validity is Validity.NOT_VALID
        assert standing.validity is Validity.NOT_VALID


def test_an_open_lead_is_told_from_few_readings() -> None:
    found = [_stated(lambda I, rng: 1e-8 * rng.standard_normal(len(I)), 18, seed).validity for seed in range(200)]
    assert found.count(Validity.NOT_VALID) >= 196


@pytest.mark.parametrize("n", [9, 12, 18])
def test_a_good_short_run_is_judged_and_says_what_was_not_looked_for(n: int) -> None:
    stated = _stated(lambda I, rng: 1e-3 * I + 1e-8 * rng.standard_normal(len(I)), n, 1)
    assert stated.verdict == "pass"
    assert "faults-in-readings" in {item.code for item in stated.not_tested}


def test_a_display_that_stands_under_irregular_signs() -> None:
    I = np.random.default_rng(3).choice([-1.0, 1.0], 60)
    estimate, _ = analyse((np.arange(60) * 0.1).tolist(), I.tolist(), [1.234567e-3] * 60)
    assert [flag.code for flag in estimate.flags] == ["resolution-limited"]
