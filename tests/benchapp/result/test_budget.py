"""Each contribution of instruments and circuit against its own arithmetic, done another way."""

import math
from pathlib import Path

import pytest
from scipy.integrate import quad

from benchapp.result.budget import BudgetPlan, whole_uncertainty
from benchapp.result.card import load_card

_R, _I = 1e-3, 0.5
_CARD = """
[voltmeter]
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 40
range_ppm = 6
resolution = "10 nV"
[source]
[[source.range]]
range = "1 A"
reading_ppm = 100
range_ppm = 30
[circuit]
settling_time_constant = "4 ms"
insulation = "1 Mohm"
thermal_resistance = 20
temperature_coefficient = "0.0039 / K"
asymmetry_ppm = 12
"""


@pytest.fixture
def shares(tmp_path: Path) -> dict[str, float]:
    """Contribution in ohm by its name: 10 ms waited, 20 ms aperture."""
    path = tmp_path / "card.toml"
    path.write_text(_CARD)
    plan = BudgetPlan(load_card(path), range_V=0.01, source_range_A=1.0, settle_s=0.010, aperture_s=0.020)
    whole = whole_uncertainty(_R, 1e-9, 10.0, _I, plan)
    return {part.name: abs(part.contribution) for part in whole.budget.contributions}


def test_the_last_digit(shares: dict[str, float]) -> None:
    """JCGM 100:2008, F.2.2.1: the standard uncertainty of a resolution is 0.29 times it."""
    assert shares["resolution"] == pytest.approx(0.29 * 10e-9 / _I, rel=0.01)


def test_what_is_left_of_the_step_when_it_is_read(shares: dict[str, float]) -> None:
    """From -V to +V the circuit follows as 1 - 2 exp(-t/tau); its mean over the aperture, by quadrature."""
    tau, waited, aperture = 0.004, 0.010, 0.020
    mean, _ = quad(lambda t: 1 - (1 - 2 * math.exp(-t / tau)), waited, waited + aperture)
    assert shares["residual settling"] == pytest.approx(mean / aperture / math.sqrt(3) * _R, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "half_width"),
    [
        ("voltmeter gain", 40e-6 * _R),
        ("voltmeter linearity", 6e-6 * 0.01 / _I),
        ("source current", (100e-6 * _I + 30e-6 * 1.0) / _I * _R),
        ("current asymmetry", 6e-6 * _R),
        ("self-heating", 0.0039 * 20 * _I**2 * _R * _R),
        ("leakage", _R - 1 / (1 / _R + 1 / 1e6)),
    ],
)
def test_half_widths_are_those_of_rectangles(shares: dict[str, float], name: str, half_width: float) -> None:
    """JCGM 100:2008, 4.3.7: u = a / sqrt(3)."""
    assert shares[name] == pytest.approx(half_width / math.sqrt(3), rel=1e-6)
