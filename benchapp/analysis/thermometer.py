"""Temperature from what a thermometer gives: ohms of a Pt100 (IEC 60751), volts of a type T thermocouple (ITS-90)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

# IEC 60751:2008, 4.2.
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12
PT_LOWEST_C, PT_HIGHEST_C = -200.0, 850.0
# ITS-90 reference function of type T in mV over degC: NIST Monograph 175 (1993), IEC 60584-1.
_T_COLD = (
    0.0, 0.038748106364, 4.4194434347e-05, 1.1844323105e-07, 2.0032973554e-08, 9.0138019559e-10, 2.2651156593e-11,
    3.6071154205e-13, 3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19, 4.8768662286e-22, 1.079553927e-24,
    1.3945027062e-27, 7.9795153927e-31,
)  # fmt: skip
_T_WARM = (
    0.0, 0.038748106364, 3.329222788e-05, 2.0618243404e-07, -2.1882256846e-09, 1.0996880928e-11, -3.0815758772e-14,
    4.547913529e-17, -2.7512901673e-20,
)  # fmt: skip
TYPE_T_LOWEST_C, TYPE_T_HIGHEST_C = -200.0, 400.0


def platinum_resistance(temperature_C: float, R0_ohm: float = 100.0) -> float:
    """Resistance in ohm of an industrial platinum thermometer, -200 to 850 degC."""
    t = temperature_C
    cold = _C * (t - 100) * t**3 if t < 0 else 0.0
    return R0_ohm * (1 + _A * t + _B * t * t + cold)


def platinum_temperature(resistance_ohm: float, R0_ohm: float = 100.0) -> float:
    """Temperature in degC; NaN outside -200 to 850 degC."""
    ratio = resistance_ohm / R0_ohm
    root = _A * _A - 4 * _B * (1 - ratio)
    if root < 0:
        return math.nan
    start = (-_A + math.sqrt(root)) / (2 * _B)
    if ratio >= 1:
        return start if start <= PT_HIGHEST_C + 1e-6 else math.nan
    return _solved(lambda t: platinum_resistance(t, R0_ohm), resistance_ohm, PT_LOWEST_C, 0.0)


def type_t_voltage(temperature_C: float) -> float:
    """Voltage in V of a type T thermocouple with its other junction at 0 degC, -200 to 400 degC."""
    return 1e-3 * _polynomial(_T_COLD if temperature_C < 0 else _T_WARM, temperature_C)


def type_t_temperature(voltage_V: float, reference_junction_C: float = 0.0) -> float:
    """Temperature in degC of the measuring junction; NaN outside -200 to 400 degC."""
    total = voltage_V + type_t_voltage(reference_junction_C)
    return _solved(type_t_voltage, total, TYPE_T_LOWEST_C, TYPE_T_HIGHEST_C)


def _polynomial(coefficients: Sequence[float], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total


def _solved(rising: Callable[[float], float], value: float, low: float, high: float) -> float:
    """Where the rising function has the value, by bisection to 1e-9; NaN where it does not lie between."""
    if not rising(low) - 1e-12 <= value <= rising(high) + 1e-12:
        return math.nan
    while high - low > 1e-9:
        middle = (low + high) / 2
        if rising(middle) < value:
            low = middle
        else:
            high = middle
    return (low + high) / 2
