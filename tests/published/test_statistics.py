"""Means, deviations and slopes against certified values."""

import math

import pytest

from benchapp.analysis.running import Moments
from benchapp.analysis.student import t_quantile
from tests.published.references import reference


def moments(values: list[float]) -> Moments:
    result = Moments()
    for k, value in enumerate(values):
        result.push(float(k), value)
    return result


# NIST/ITL Statistical Reference Datasets, univariate summary statistics (lower to higher difficulty).
@pytest.mark.parametrize(
    ("name", "values", "mean_rel", "deviation_rel"),
    [
        ("lottery", None, 1e-13, 1e-13),
        ("mavro", None, 1e-13, 1e-10),
        ("numacc1", None, 0, 0),
        ("numacc2", [1.2] + 500 * [1.1, 1.3], 1e-14, 1e-12),
        ("numacc3", [1000000.2] + 500 * [1000000.1, 1000000.3], 1e-14, 1e-9),
    ],
)
def test_nist_strd_mean_and_standard_deviation(
    name: str, values: list[float] | None, mean_rel: float, deviation_rel: float
) -> None:
    entry = reference(f"strd-univ-{name}")
    result = moments(values or entry["inputs"]["y"])
    assert result.mean == pytest.approx(entry["expected"]["mean"], rel=mean_rel, abs=0)
    assert result.standard_deviation == pytest.approx(entry["expected"]["stdev"], rel=deviation_rel, abs=0)


def test_nist_strd_norris_slope() -> None:
    # NIST/ITL StRD, linear least squares, Norris.
    entry = reference("strd-lls-norris")
    result = Moments()
    for y, x in entry["inputs"]["table"]["rows"]:
        result.push(x, y)
    assert result.slope_per_s == pytest.approx(entry["expected"]["B1"], rel=1e-9)
    assert result.slope_standard_uncertainty_per_s == pytest.approx(entry["expected"]["sd_B1"], rel=1e-9)


def test_gum_type_a_example() -> None:
    # JCGM 100:2008, 4.4.3, Table 1: twenty temperature readings.
    entry = reference("gum-4.4.3-typeA")
    result = moments(entry["inputs"]["t_degC"])
    assert result.mean == pytest.approx(100.145, abs=5e-4)
    assert result.standard_deviation == pytest.approx(1.489, abs=5e-4)
    assert result.standard_uncertainty == pytest.approx(0.333, abs=5e-4)


def test_student_quantiles() -> None:
    # NIST/SEMATECH e-Handbook, 1.3.6.7.2, upper critical values of Student's t.
    entry = reference("student-t-quantiles")
    for nu, *row in entry["expected"]["table"]["rows"]:
        for tail, value in zip(entry["inputs"]["upper_tail"], row, strict=True):
            assert t_quantile(1 - tail, math.inf if nu == "inf" else nu) == pytest.approx(value, abs=1e-3)
