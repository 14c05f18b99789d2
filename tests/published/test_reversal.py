"""Blocks against the trade's drift-eliminating patterns."""

import numpy as np
import pytest

from benchapp.analysis.blocks import fit_block
from tests.published.references import reference


def weights(signs: str, order: int) -> list[float]:
    """What least squares multiplies each voltage with, for a current of 1 A and equal spacing."""
    I = [1.0 if sign == "+" else -1.0 for sign in signs]
    t = [float(k) for k in range(len(signs))]
    found = []
    for k in range(len(signs)):
        block = fit_block(t, I, [float(k == j) for j in range(len(signs))], order)
        assert block is not None
        found.append(block.resistance_ohm)
    return found


# Derived from the stated formula, not a published number; the three patterns are common practice.
@pytest.mark.parametrize(
    ("signs", "order", "expected"),
    [
        ("+-", 0, [1 / 2, -1 / 2]),
        ("+-+", 1, [1 / 4, -2 / 4, 1 / 4]),
        ("+-+-", 2, [1 / 8, -3 / 8, 3 / 8, -1 / 8]),
        ("+--+", 1, [1 / 4, -1 / 4, -1 / 4, 1 / 4]),
        ("+--+-++-", 2, [s / 8 for s in (1, -1, -1, 1, -1, 1, 1, -1)]),
    ],
)
def test_weights_of_the_classic_patterns(signs: str, order: int, expected: list[float]) -> None:
    assert weights(signs, order) == pytest.approx(expected, abs=1e-12)


def test_noise_gain_of_the_patterns() -> None:
    # Derived from the stated formula, not a published number.
    for _, signs, _, rejected, gain in reference("reversal-weights-derived")["expected"]["table"]["rows"]:
        w = weights(signs.replace(" ", ""), rejected.count(","))
        assert np.sqrt(np.sum(np.square(w))) == pytest.approx(gain, abs=1e-6)


def test_linear_drift_of_an_instrument_is_eliminated() -> None:
    """NIST/SEMATECH e-Handbook, 2.3.3.1.2: D = ((Y1-Y2) - (Y3-Y4))/2, d = (-Y1+Y2-Y3+Y4)/4 in the order X, R, R, X.


    The formulas are the published part; the numbers are an insertion. X and R stand half their difference above and
    below their mean, as +I and -I do, so D is twice our R at 1 A and the slope is 2d a reading.
    """
    entry = reference("ehandbook-abba")
    Y = entry["inputs"]["worked_values"]["Y"]
    block = fit_block([0.0, 1.0, 2.0, 3.0], [1.0, -1.0, -1.0, 1.0], Y, 1)
    assert block is not None
    assert 2 * block.resistance_ohm == pytest.approx(entry["expected"]["D"], abs=1e-12)
    assert block.thermal_emf_slope_V_per_s == pytest.approx(2 * entry["expected"]["d"], abs=1e-12)


def test_numeric_example_with_drifting_emf() -> None:
    # Derived from the stated formula, not a published number.
    entry = reference("reversal-numeric-derived")
    V3, V4 = entry["inputs"]["V_plus_minus_plus_V"], entry["inputs"]["V_ABBA_V"]
    two = fit_block([0.0, 1.0], [1.0, -1.0], V3[:2], 0)
    three = fit_block([0.0, 1.0, 2.0], [1.0, -1.0, 1.0], V3, 1)
    four = fit_block([0.0, 1.0, 2.0, 3.0], [1.0, -1.0, -1.0, 1.0], V4, 1)
    assert two is not None
    assert three is not None
    assert four is not None
    assert two.resistance_ohm == pytest.approx(entry["expected"]["two_point_R_ohm"], abs=1e-15)
    assert three.resistance_ohm == pytest.approx(entry["expected"]["three_point_R_ohm"], abs=1e-15)
    assert four.resistance_ohm == pytest.approx(entry["expected"]["ABBA_R_ohm"], abs=1e-15)
