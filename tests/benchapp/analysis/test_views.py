"""Folded reversals and the spectrum of the readings, against what the simulated circuit is and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from benchapp.analysis.folding import fold
from benchapp.analysis.spectrum import spectrum

TAU_S, APERTURE_S, SETTLE_S = 0.05, 0.02, 0.01


def settled_slowly(noise_V: float, seed: int = 1, dwell: int = 8, count: int = 60) -> np.ndarray:
    """Square-wave current, a voltage with 1 % of the step behind an exponential, an EMF that drifts."""
    rng = np.random.default_rng(seed)
    rows = []
    t = 0.0
    for number in range(count):
        sign = 1.0 if number % 2 == 0 else -1.0
        for k in range(dwell):
            since = SETTLE_S + k * APERTURE_S
            mean = TAU_S / APERTURE_S * (1 - np.exp(-APERTURE_S / TAU_S)) * np.exp(-since / TAU_S)
            V = sign * 1e-3 * (1 - 0.01 * mean) + 1e-6 + 1e-8 * t + noise_V * rng.standard_normal()
            rows.append((t + since + APERTURE_S / 2, sign, V))
        t += SETTLE_S + dwell * APERTURE_S
    return np.array(rows).T


def test_what_lags_behind_a_reversal_is_seen_with_its_time_constant() -> None:
    found = fold(settled_slowly(2e-8), SETTLE_S, APERTURE_S)
    assert found is not None
    assert found.since_s[0] == pytest.approx(SETTLE_S + APERTURE_S / 2)
    assert found.offset_V[0] > 10 * found.u_V[0]
    assert found.tau_s == pytest.approx(TAU_S, rel=0.15)


def test_noise_alone_has_no_time_constant() -> None:
    rows = settled_slowly(2e-8)
    rows[2] = rows[1] * 1e-3 + 1e-7 * np.random.default_rng(5).standard_normal(rows.shape[1])
    found = fold(rows, SETTLE_S, APERTURE_S)
    assert found is not None
    assert np.isnan(found.tau_s)


@pytest.mark.parametrize("signs", ["++", "+0-0"])
def test_without_reversals_there_is_nothing_to_fold(signs: str) -> None:
    I = np.array([{"+": 1.0, "-": -1.0, "0": 0.0}[s] for s in signs * 20])
    assert fold(np.stack([np.arange(len(I)) * 0.1, I, I * 1e-3]), 0.0, 0.02) is None


def test_the_spectrum_is_that_of_scipy_where_no_current_flows_in_it() -> None:
    rng = np.random.default_rng(2)
    t = np.arange(2048) * 0.1
    V = 1e-8 * rng.standard_normal(2048)
    I = np.where(np.arange(2048) % 2 == 0, 1.0, -1.0)
    found = spectrum(np.stack([t, I, V + 1e-3 * I]))
    assert found is not None
    frequency, density = welch(V, fs=10.0, nperseg=512, detrend="linear")  # type: ignore[call-overload]
    assert found.frequency_Hz == pytest.approx(frequency[1:-1])
    middle = slice(5, -5)
    assert found.density_V_per_rt_Hz[middle] == pytest.approx(np.sqrt(density[1:-1])[middle], rel=0.05)
    assert found.reversals_Hz == pytest.approx(5.0, rel=0.01)
    assert np.isnan(found.corner_Hz)


def test_flicker_has_a_corner() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(8192) * 0.1
    walk = np.cumsum(rng.standard_normal(8192)) * 2e-9
    I = np.where(np.arange(8192) % 2 == 0, 1.0, -1.0)
    found = spectrum(np.stack([t, I, walk + 1e-8 * rng.standard_normal(8192)]))
    assert found is not None
    assert 0.05 < found.corner_Hz < 2.0
