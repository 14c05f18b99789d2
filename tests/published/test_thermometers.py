"""Thermometers against IEC 60751 and the ITS-90 reference function of type T."""

import math

import pytest

from benchapp.analysis import thermometer
from tests.published.references import reference


def test_platinum_by_the_standard() -> None:
    # IEC 60751:2008, 4.2; values by its equations to four decimals.
    entry = reference("iec60751-computed")
    for t, R in zip(entry["inputs"]["t_degC"], entry["expected"]["R_ohm"], strict=True):
        assert thermometer.platinum_resistance(t) == pytest.approx(R, abs=5e-5)
        assert thermometer.platinum_temperature(R) == pytest.approx(t, abs=3e-4)
    alpha = (thermometer.platinum_resistance(100) - 100) / 1e4
    assert alpha == pytest.approx(reference("iec60751-coefficients")["expected"]["alpha"], abs=5e-9)


def test_type_t_by_the_reference_function() -> None:
    # NIST Monograph 175 (1993), IEC 60584-1.
    entry = reference("its90-type-T")
    for t, E in zip(entry["inputs"]["t_degC"], entry["expected"]["E_mV"], strict=True):
        assert 1e3 * thermometer.type_t_voltage(t) == pytest.approx(E, abs=5e-4)
        assert thermometer.type_t_temperature(thermometer.type_t_voltage(t)) == pytest.approx(t, abs=1e-6)
    for t in (20, 25):
        slope = (thermometer.type_t_voltage(t + 0.01) - thermometer.type_t_voltage(t - 0.01)) / 0.02
        assert 1e6 * slope == pytest.approx(entry["expected"][f"S_at_{t}_uV_per_K"], abs=0.01)


def test_a_warm_reference_junction_is_added() -> None:
    voltage = thermometer.type_t_voltage(80.0) - thermometer.type_t_voltage(23.0)
    assert thermometer.type_t_temperature(voltage, 23.0) == pytest.approx(80.0, abs=1e-6)


@pytest.mark.parametrize("ohm", [5.0, 500.0, -1.0])
def test_what_no_platinum_thermometer_has_is_no_temperature(ohm: float) -> None:
    assert math.isnan(thermometer.platinum_temperature(ohm))
