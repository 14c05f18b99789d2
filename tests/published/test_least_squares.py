"""Least squares of an examined run against a certified set of NIST's Statistical Reference Datasets."""

import numpy as np
import pytest

from benchapp.analysis.examined.fit import Fit
from benchapp.analysis.examined.whitening import Walk, Whitener

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
