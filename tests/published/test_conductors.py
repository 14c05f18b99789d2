"""Conductors against IEC 60228, the wire gauge table, ASTM B193 and IEC 60028."""

import math

import pytest

from benchapp.analysis.conductor import Conductor, material, wire_diameter, wire_resistance
from benchapp.analysis.temperature import percent_iacs, to_reference
from tests.published.references import reference


def test_classes_of_the_standard() -> None:
    # IEC 60228:2004, tables 1 to 3.
    for area, *row in reference("iec60228-copper-max-resistance")["expected"]["table"]["rows"]:
        kinds = [(1, False), (1, True), (2, False), (2, True), (5, False), (5, True)]
        for (number, coated), expected in zip(kinds, row, strict=True):
            found = Conductor(area, number, coated).largest_ohm_per_m
            assert math.isnan(found) if expected is None else found == pytest.approx(expected / 1000, rel=1e-12)
        assert Conductor(area, 6).largest_ohm_per_m == pytest.approx(row[4] / 1000, nan_ok=True)
    assert math.isnan(Conductor(3.0, 2).largest_ohm_per_m)
    assert math.isnan(Conductor(2.5, 3).largest_ohm_per_m)


def test_wire_gauges() -> None:
    # NBS Circular 31 table by its formula; the larger sizes are printed to two or three digits.
    for name, per_1000_ft, inch in reference("awg-resistance-20C")["expected"]["table"]["rows"]:
        gauge = 1 - len(name) if name.startswith("0") else int(name)
        assert wire_resistance(gauge) * 304.8 == pytest.approx(per_1000_ft, rel=1.1e-3)
        assert wire_diameter(gauge) / 0.0254 == pytest.approx(inch, abs=2e-5)


def test_resistivity_and_conductivity() -> None:
    # ASTM B193, 3.2 and 7, an arithmetic example; IEC 60028 for 100 %.
    entry = reference("astm-b193-formulas")
    i, expected = entry["inputs"], entry["expected"]
    at_t = material(i["R_ohm"], 0.0, area_m2=i["A_mm2"] * 1e-6, length_m=i["L_m"])
    assert at_t.resistivity_ohm_m == pytest.approx(expected["rho_v_at_t_ohm_mm2_per_m"] * 1e-6, rel=1e-6)
    R20 = to_reference(i["R_ohm"], i["t_degC"], i["T_ref_degC"], i["alpha20"])
    at_20 = material(R20, 0.0, area_m2=i["A_mm2"] * 1e-6, length_m=i["L_m"])
    assert at_20.resistivity_ohm_m == pytest.approx(expected["rho_v_at_20"] * 1e-6, rel=1e-6)
    assert at_20.percent_iacs == pytest.approx(expected["IACS_percent_at_20"], rel=1e-6)


def test_common_metals() -> None:
    for _, rho, _, percent in reference("iacs-common-metals")["expected"]["table"]["rows"]:
        assert percent_iacs(rho) == pytest.approx(percent, abs=0.1)


def test_geometry_widens_the_resistivity() -> None:
    found = material(8e-3, 8e-6, area_m2=2e-6, length_m=1.0, u_area_m2=1e-8, u_length_m=1e-3)
    relative = found.standard_uncertainty_ohm_m / found.resistivity_ohm_m
    assert relative == pytest.approx(math.sqrt(1e-3**2 + 5e-3**2 + 1e-3**2))


def test_correction_factors_of_the_standard_are_rounded() -> None:
    # IEC 60228:2004, annex A: 1/(1 + 0.004 (t - 20)).
    entry = reference("iec60228-kt-table")
    for t, k in zip(entry["inputs"]["t_degC"], entry["expected"]["k_t"], strict=True):
        assert to_reference(1.0, t, 20.0, 0.004) == pytest.approx(k, abs=6e-4)


def test_aluminium_of_class_2() -> None:
    # IEC 60228:2004, table 2, from memory; aluminium needs 1.6 to 1.7 times copper's area for the same resistance.
    assert Conductor(16.0, 2, aluminium=True).largest_ohm_per_m == pytest.approx(1.91e-3)
    assert math.isnan(Conductor(4.0, 2, aluminium=True).largest_ohm_per_m)
    assert math.isnan(Conductor(16.0, 5, aluminium=True).largest_ohm_per_m)
    for area in (16.0, 50.0, 120.0, 240.0):
        ratio = Conductor(area, 2, aluminium=True).largest_ohm_per_m / Conductor(area, 2).largest_ohm_per_m
        assert 1.6 < ratio < 1.7
