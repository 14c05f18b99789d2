"""Quantiles of Student's t; scipy is loaded on first use because it costs a fifth of a second."""

from __future__ import annotations

from functools import lru_cache


@lru_cache(maxsize=4096)
def t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """The t below which lies `probability` of Student's distribution."""
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


def normal_cdf(z: float) -> float:
    """Probability below z of the standard normal distribution."""
    from scipy.special import ndtr

    return float(ndtr(z))
