import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchapp.analysis.pyramid import MinMaxPyramid


@settings(max_examples=40, deadline=None)
@given(sizes=st.lists(st.integers(0, 400), min_size=1, max_size=12), seed=st.integers(0, 99))
def test_no_extreme_disappears_however_the_points_came(sizes: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    pyramid = MinMaxPyramid()
    y = rng.normal(size=sum(sizes))
    t = np.arange(len(y), dtype=float)
    at = 0
    for size in sizes:
        pyramid.extend(t[at : at + size], y[at : at + size])
        at += size
    if not len(y):
        return
    assert pyramid.extremes() == (y.min(), y.max())
    times, values = pyramid.stretch(0.0, float(len(y)), 50)
    assert (values.min(), values.max()) == (y.min(), y.max())
    assert len(times) <= 2 * 50 + 2 * 8 * 4
    assert np.all(np.diff(times) >= 0)


def test_a_short_stretch_comes_whole() -> None:
    pyramid = MinMaxPyramid()
    t = np.arange(100_000, dtype=float)
    pyramid.extend(t, np.sin(t))
    times, values = pyramid.stretch(5000.0, 5040.0, 100)
    assert times[0] <= 5000.0
    assert times[-1] >= 5040.0
    assert values == pytest.approx(np.sin(times))
