"""Quantiles of Student's t; scipy is loaded on first use because it costs a fifth of a second."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_MANY = 200
_AS_GOOD_AS_NORMAL = 1e6


def t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """The t below which lies `probability` of Student's distribution.

    From 200 degrees of freedom on by the expansion about the normal quantile (Abramowitz and Stegun, 26.7.5), which is
    right to ten digits there and ten times as fast: a long run asks for a new one with every block.
    """
    if degrees_of_freedom < _MANY:
        return _t_quantile(probability, degrees_of_freedom)
    first, *higher = _expansion(probability)
    return first + sum(c / degrees_of_freedom**power for power, c in enumerate(higher, 1))


@lru_cache(maxsize=64)
def _expansion(probability: float) -> tuple[float, ...]:
    """Coefficients of t in powers of 1/nu."""
    z = normal_quantile(probability)
    z2 = z * z
    first = (z2 + 1) * z / 4
    second = ((5 * z2 + 16) * z2 + 3) * z / 96
    third = (((3 * z2 + 19) * z2 + 17) * z2 - 15) * z / 384
    fourth = ((((79 * z2 + 776) * z2 + 1482) * z2 - 1920) * z2 - 945) * z / 92160
    return z, first, second, third, fourth


def coverage_factors(up_to: int, coverage_probability: float = 0.95) -> NDArray[np.float64]:
    """Two-sided factors for 1, 2, ... `up_to` degrees of freedom."""
    few = [coverage_factor(nu, coverage_probability) for nu in range(1, min(up_to, _MANY - 1) + 1)]
    if up_to < _MANY:
        return np.array(few)
    nu = np.arange(_MANY, up_to + 1.0)
    first, *higher = _expansion(0.5 + coverage_probability / 2)
    many = sum((c / nu**power for power, c in enumerate(higher, 1)), np.full(len(nu), first))
    return np.concatenate([few, many])


@lru_cache(maxsize=4096)
def _t_quantile(probability: float, degrees_of_freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, probability))


def coverage_factor(degrees_of_freedom: float, coverage_probability: float = 0.95) -> float:
    """Two-sided factor k = t_p(nu) of JCGM 100:2008, G.3."""
    return t_quantile(0.5 + coverage_probability / 2, degrees_of_freedom)


@lru_cache(maxsize=4096)
def normal_quantile(probability: float) -> float:
    """The value below which lies `probability` of the standard normal distribution."""
    from scipy.special import ndtri

    return float(ndtri(probability))


def beta_quantile(probability: float, a: float, b: float) -> float:
    """The value below which lies `probability` of the beta distribution."""
    from scipy.special import betaincinv

    return float(betaincinv(a, b, probability))


@lru_cache(maxsize=4096)
def chi_square_quantile(probability: float, degrees_of_freedom: float) -> float:
    """The value below which lies `probability` of the chi-square distribution."""
    from scipy.special import chdtri

    return float(chdtri(degrees_of_freedom, 1 - probability))


def t_cdf(t: float, degrees_of_freedom: float) -> float:
    """Probability below t of Student's distribution; the normal one for infinite degrees of freedom."""
    if degrees_of_freedom > _AS_GOOD_AS_NORMAL:
        return normal_cdf(t)
    from scipy.special import stdtr

    return float(stdtr(degrees_of_freedom, t))


def normal_cdf(z: float) -> float:
    """Probability below z of the standard normal distribution."""
    from scipy.special import ndtr

    return float(ndtr(z))
