"""Whether the voltages of a linked pass belong to the currents of its list."""

import numpy as np
import pytest

from benchapp.measure.linked_passes import LinkedPasses
from drivers.linked import LinkedReading, PassFailed

_SIGNS = np.array([1, -1, -1, 1] * 8)


def passes() -> LinkedPasses:
    made = LinkedPasses.__new__(LinkedPasses)
    made._levels = _SIGNS.tolist()
    return made


def readings(V: np.ndarray) -> list[LinkedReading]:
    return [LinkedReading(k, 0.02 * k, float(v)) for k, v in enumerate(V)]


def voltages(I: np.ndarray, *, noise_V: float = 1e-9, seed: int = 1) -> np.ndarray:
    dice = np.random.default_rng(seed)
    k = np.arange(len(I))
    return np.asarray(1e-6 * I + 5e-6 + 1e-9 * k + dice.normal(0.0, noise_V, len(I)))


@pytest.mark.parametrize("seed", range(20))
def test_what_belongs_together_passes(seed: int) -> None:
    passes()._compare_signs(readings(voltages(_SIGNS, seed=seed)))
    passes()._compare_signs(readings(voltages(_SIGNS, noise_V=2e-7, seed=seed)))  # noise is no slip


@pytest.mark.parametrize("by", [1, -1])
@pytest.mark.parametrize("from_", [1, 9, 13, 21])
def test_a_slip_by_one_reading_is_found_where_it_is(by: int, from_: int) -> None:
    I = np.concatenate([_SIGNS[:from_], np.roll(_SIGNS, by)[from_:]])
    with pytest.raises(PassFailed, match=r"from reading (\d+) on") as caught:
        passes()._compare_signs(readings(voltages(I)))
    number = int(str(caught.value).split("reading ")[1].split()[0])
    assert abs(number - from_) <= 8


@pytest.mark.parametrize("from_", [9, 17])
def test_a_stretch_of_the_other_sign_is_found(from_: int) -> None:
    I = _SIGNS.copy()
    I[from_ : from_ + 12] *= -1
    with pytest.raises(PassFailed):
        passes()._compare_signs(readings(voltages(I)))


def test_an_overload_and_a_short_pass_say_nothing() -> None:
    I = np.roll(_SIGNS, 1)
    V = voltages(I)
    V[5] = 9.9e37
    passes()._compare_signs(readings(V))
    passes()._compare_signs(readings(voltages(I))[:9])
