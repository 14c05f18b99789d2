"""Allan deviation against NIST SP 1065 and a general library; temperature and conductors against their standards."""

import allantools
import numpy as np
import pytest

from benchapp.analysis.stability import allan_series, overlapping_allan
from benchapp.analysis.temperature import (
    ALUMINIUM_ALPHA20_PER_K,
    COPPER_ALPHA20_PER_K,
    COPPER_RESISTIVITY20_OHM_M,
    alpha_at,
    percent_iacs,
    to_reference,
)
from tests.published.references import reference


def test_overlapping_allan_of_the_thousand_point_set() -> None:
    # NIST SP 1065 (Riley 2008), section 12, tables on pp. 107-108.
    entry = reference("allan-nbs14-1000pt")
    n = [1234567890]
    for _ in range(999):
        n.append(16807 * n[-1] % 2147483647)
    y = np.array(n) / 2147483647
    row = next(r for r in entry["expected"]["table"]["rows"] if r[0].startswith("OADEV"))
    for factor, value in zip((1, 10, 100), row[1:], strict=True):
        assert overlapping_allan(y, factor) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_a_general_library(seed: int) -> None:
    y = np.random.default_rng(seed).normal(size=300).cumsum()
    points = allan_series(y)
    _, deviations, _, _ = allantools.oadev(y, rate=1.0, data_type="freq", taus=[p.factor for p in points])
    assert [p.deviation for p in points] == pytest.approx(list(deviations), rel=1e-9)


def test_band_holds_the_true_deviation_of_white_noise() -> None:
    rng, inside, total = np.random.default_rng(8), 0, 0
    for _ in range(200):
        for point in allan_series(rng.normal(size=256))[:5]:
            inside += point.low <= 1 / np.sqrt(point.factor) <= point.high
            total += 1
    assert 0.92 < inside / total < 0.98


def test_temperature_factors_of_the_cable_standard() -> None:
    # IEC 60228:2004, Annex B.
    for t, copper, aluminium in reference("iec60228-kt-exact")["expected"]["table"]["rows"]:
        assert to_reference(1.0, t, 20.0, COPPER_ALPHA20_PER_K) == pytest.approx(copper, abs=1e-4)
        assert to_reference(1.0, t, 20.0, ALUMINIUM_ALPHA20_PER_K) == pytest.approx(aluminium, abs=2e-4)


def test_annealed_copper() -> None:
    # IEC 60028:1925; NBS Handbook 100, Table 2 for the coefficient at other temperatures (from memory, unchecked).
    expected = reference("iec60028-iacs")["expected"]
    assert pytest.approx(expected["resistivity_ohm_mm2_per_m"], rel=1e-12) == COPPER_RESISTIVITY20_OHM_M * 1e6
    assert expected["alpha20_per_K"] == COPPER_ALPHA20_PER_K
    assert percent_iacs(COPPER_RESISTIVITY20_OHM_M) == 100.0
    table = reference("hb100-alpha-vs-reference")
    for t, alpha in zip(table["inputs"]["t1_degC"], table["expected"]["alpha_t1"], strict=True):
        assert alpha_at(0.00393, 20.0, t) == pytest.approx(alpha, abs=6e-6)
