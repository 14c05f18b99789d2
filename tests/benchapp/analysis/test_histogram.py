import numpy as np
import pytest

from benchapp.analysis.histogram import GrowingHistogram


def test_every_value_is_counted_in_its_bin_however_the_range_grows() -> None:
    rng = np.random.default_rng(3)
    values = np.concatenate([rng.normal(1e-5, 1e-9, 40), rng.normal(1e-5, 1e-7, 500), [3e-5, -1e-5]])
    histogram = GrowingHistogram()
    for part in np.array_split(values, 31):
        histogram.extend(part)
    assert histogram.total == histogram.counts.sum() == len(values)
    expected, _ = np.histogram(values, histogram.edges)
    assert np.abs(expected - histogram.counts).sum() <= 4  # edges carry rounding


def test_the_normal_curve_has_the_area_of_the_counts() -> None:
    histogram = GrowingHistogram()
    histogram.extend(np.random.default_rng(1).normal(2.0, 0.5, 4000))
    x, y = histogram.normal_curve()
    assert np.trapezoid(y, x) / histogram.width == pytest.approx(4000, rel=1e-3)


def test_equal_values_make_no_trouble() -> None:
    histogram = GrowingHistogram()
    histogram.extend(np.full(10, 1e-5))
    assert histogram.counts.sum() == 10
