"""Budgets held against two general metrology libraries, over random cases."""

import math

import GTC
import numpy as np
import pytest
import uncertainties

from benchapp.analysis.budget import Contribution, combine


@pytest.mark.parametrize("seed", range(40))
def test_budget_agrees_with_both(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    u = 10.0 ** rng.uniform(-9, -5, count)
    c = rng.uniform(-3, 3, count)
    nu = [math.inf if rng.random() < 0.4 else float(rng.integers(2, 60)) for _ in range(count)]
    parts = [Contribution(str(k), float(u[k]), float(c[k]), nu[k]) for k in range(count)]
    for p in (0.95, 0.99):
        ours = combine(parts, p)
        y = sum(float(c[k]) * GTC.ureal(1.0, float(u[k]), nu[k]) for k in range(count))
        assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(y), rel=1e-12)
        theirs = GTC.dof(y)
        if theirs > 1e6:  # as good as infinite, to us
            assert math.isinf(ours.degrees_of_freedom)
            continue
        assert ours.degrees_of_freedom == pytest.approx(theirs, rel=1e-9)
        # Both interpolate (JCGM 100:2008, G.4.1), each in its own way.
        assert ours.coverage_factor == pytest.approx(GTC.reporting.k_factor(theirs, 100 * p), rel=1e-2)
    z = sum(float(c[k]) * uncertainties.ufloat(1.0, float(u[k])) for k in range(count))
    assert combine(parts).standard_uncertainty == pytest.approx(z.std_dev, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_sensitivities_of_the_result_agree(seed: int) -> None:
    """R20 = (V/I) / (1 + alpha (T - 20)): our linear budget against a library that differentiates by itself."""
    rng = np.random.default_rng([7, seed])
    I, R, T, alpha = rng.uniform(0.1, 10), 10 ** rng.uniform(-6, 0), rng.uniform(15, 30), 0.00393
    uV, uI, uT, ua = 1e-5 * R * I, 2e-5 * I, 0.2, 1e-5
    V = uncertainties.ufloat(R * I, uV)
    current = uncertainties.ufloat(I, uI)
    temperature, coefficient = uncertainties.ufloat(T, uT), uncertainties.ufloat(alpha, ua)
    theirs = V / current / (1 + coefficient * (temperature - 20))
    factor = 1 / (1 + alpha * (T - 20))
    ours = combine(
        [
            Contribution("V", uV, factor / I),
            Contribution("I", uI, -R * factor / I),
            Contribution("T", uT, -R * factor**2 * alpha),
            Contribution("alpha", ua, -R * factor**2 * (T - 20)),
        ]
    )
    assert ours.standard_uncertainty == pytest.approx(theirs.std_dev, rel=1e-9)
