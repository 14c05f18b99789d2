"""Least squares and time constants against certified sets of NIST's Statistical Reference Datasets."""

import numpy as np
import pytest

from benchapp.analysis.examined.fit import Fit
from benchapp.analysis.examined.whitening import Walk, Whitener
from benchapp.analysis.exponential import fit_exponential

# NIST StRD, linear regression, "Longley" (J. W. Longley, JASA 62, 1967): data and certified values from memory; numpy
# gives the certified values of these data to nine digits.
_LONGLEY = """
60323 83.0 234289 2356 1590 107608 1947
61122 88.5 259426 2325 1456 108632 1948
60171 88.2 258054 3682 1616 109773 1949
61187 89.5 284599 3351 1650 110929 1950
63221 96.2 328975 2099 3099 112075 1951
63639 98.1 346999 1932 3594 113270 1952
64989 99.0 365385 1870 3547 115094 1953
63761 100.0 363112 3578 3350 116219 1954
66019 101.2 397469 2904 3048 117388 1955
67857 104.6 419180 2822 2857 118734 1956
68169 108.4 442769 2936 2798 120445 1957
66513 110.8 444546 4681 2637 121950 1958
68655 112.6 482704 3813 2552 123366 1959
69564 114.2 502601 3931 2514 125368 1960
69331 115.7 518173 4806 2572 127852 1961
70551 116.9 554894 4007 2827 130081 1962
"""
_CERTIFIED = (
    (15.0618722713733, 84.9149257747669),
    (-0.0358191792925910, 0.0334910077722432),
    (-2.02022980381683, 0.488399681651699),
    (-1.03322686717359, 0.214274163161675),
    (-0.0511041056535807, 0.226073200069370),
)


def test_longley() -> None:
    # Its seventh coefficient, of the year, and its constant are the EMF's slope and level here: free in each cycle.
    y, *x, year = np.array([row.split() for row in _LONGLEY.strip().splitlines()], dtype=float).T
    columns = {str(k): column[None, :] for k, column in enumerate(x)}
    fit = Fit(Whitener(year), Walk(0.0, 0.0), columns, y[None, :])
    for k, (value, deviation) in enumerate(_CERTIFIED):
        term = fit.term(**{str(k): 1.0})
        assert term.value == pytest.approx(value, rel=1e-7)
        assert fit.deviation(**{str(k): 1.0}) == pytest.approx(deviation, rel=1e-7)


# NIST StRD, nonlinear regression, "Misra1a" (D. Misra, dental research, 1978) and "BoxBOD" (G. E. P. Box et al.,
# "Statistics for experimenters", 1978): data and certified values from memory; these data give the certified residual
# sums to nine digits.
_MISRA = """
10.07 77.6 14.73 114.9 17.94 141.1 23.93 190.8 29.61 239.9 35.18 289.0 40.02 332.8 44.82 378.4 50.76 434.8 55.05 477.3
61.01 536.8 66.40 593.1 75.47 689.1 81.78 760.0
"""
_BOD = "109 1 149 2 149 3 191 5 213 7 224 10"


@pytest.mark.parametrize(
    ("data", "b1", "b2", "rest", "deviation"),
    [
        (_MISRA, 2.3894212918e02, 5.5015643181e-04, 1.2455138894e-01, 1.0187876330e-01),
        (_BOD, 2.1380940889e02, 5.4723748542e-01, 1.1680088766e03, 1.7088072423e01),
    ],
    ids=["misra1a", "boxbod"],
)
def test_exponential_sets(data: str, b1: float, b2: float, rest: float, deviation: float) -> None:
    values = np.array(data.split(), dtype=float)
    y, x = values[::2], values[1::2]
    found = fit_exponential(lambda tau: -np.expm1(-x / tau)[:, None], y, 0.1, 1e5)
    assert 1 / found.tau == pytest.approx(b2, rel=1e-6)
    assert found.coefficients[0] == pytest.approx(b1, rel=1e-6)
    assert found.rest_squared == pytest.approx(rest, rel=1e-8)
    assert found.deviation == pytest.approx(deviation, rel=1e-8)
    assert 1 / found.tau_high < b2 < 1 / found.tau_low
    assert found.low[0] < b1 < found.high[0]


def test_wampler() -> None:
    # NIST StRD, linear regression, "Wampler1" (R. H. Wampler, JASA 65, 1970): y = 1 + x + ... + x^5 at 0..20; certified
    # are six coefficients of 1 with deviations of 0. Constant and slope are free here too.
    x = np.arange(21.0)
    y = sum(x**k for k in range(6))
    columns = {str(k): (x**k)[None, :] for k in range(2, 6)}
    fit = Fit(Whitener(x), Walk(0.0, 0.0), columns, y[None, :])  # type: ignore[index]
    for k in range(2, 6):
        assert fit.term(**{str(k): 1.0}).value == pytest.approx(1.0, rel=1e-6)
