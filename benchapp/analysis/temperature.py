"""Resistance at a reference temperature, and what copper and aluminium do."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Per kelvin at 20 degC. Copper: IEC 60028:1925; aluminium: as in IEC 60228:2004, Annex B.
COPPER_ALPHA20_PER_K = 0.00393
ALUMINIUM_ALPHA20_PER_K = 0.00403
COPPER_RESISTIVITY20_OHM_M = 1 / 58e6  # annealed copper, 100 % IACS, IEC 60028:1925


def to_reference(resistance_ohm: float, temperature_C: float, reference_C: float, alpha_per_K: float) -> float:
    """R at the reference temperature; `alpha_per_K` holds there: R = R_ref (1 + alpha (T - T_ref))."""
    return resistance_ohm / (1 + alpha_per_K * (temperature_C - reference_C))


def correction_uncertainty(
    resistance_ohm: float,
    temperature_C: float,
    reference_C: float,
    alpha_per_K: float,
    *,
    temperature_uncertainty_K: float,
    alpha_uncertainty_per_K: float = 0.0,
) -> tuple[float, float]:
    """Standard uncertainties in ohm that temperature and coefficient bring into the corrected value."""
    difference = temperature_C - reference_C
    corrected = to_reference(resistance_ohm, temperature_C, reference_C, alpha_per_K)
    factor = 1 + alpha_per_K * difference
    by_temperature = abs(corrected * alpha_per_K / factor) * temperature_uncertainty_K
    by_coefficient = abs(corrected * difference / factor) * alpha_uncertainty_per_K
    return by_temperature, by_coefficient


def alpha_at(alpha_per_K: float, at_C: float, new_reference_C: float) -> float:
    """A coefficient that holds at one temperature, for another reference temperature."""
    return alpha_per_K / (1 + alpha_per_K * (new_reference_C - at_C))


def percent_iacs(resistivity_ohm_m: float) -> float:
    """Conductivity at 20 degC in percent of annealed copper."""
    return 100 * COPPER_RESISTIVITY20_OHM_M / resistivity_ohm_m


def resistivity(resistance_ohm: float, area_m2: float, length_m: float) -> float:
    """Rho = R A / l, in ohm metre (ASTM B193)."""
    if not (area_m2 > 0 and length_m > 0):
        return math.nan
    return resistance_ohm * area_m2 / length_m


def lagging(told_s: Floats, told_C: Floats, lag_s: float, at_s: Floats) -> Floats:
    """A specimen's temperature in degrees Celsius at given times (s), behind a thermometer that tells it at others.

    It follows to first order, with the time constant `lag_s`; between two temperatures the thermometer is taken to move
    evenly, after the last one to stand. At the first one the specimen is taken to be in step.
    """
    if not len(told_s):
        return np.full(len(at_s), math.nan)
    if lag_s <= 0 or len(told_s) == 1:
        return np.interp(at_s, told_s, told_C)
    steps = np.diff(told_s)
    slopes = np.diff(told_C) / np.where(steps > 0, steps, 1.0)
    own = np.empty(len(told_s))
    own[0] = told_C[0]
    for k, (h, slope) in enumerate(zip(steps.tolist(), slopes.tolist(), strict=True)):
        own[k + 1] = told_C[k + 1] - slope * lag_s + (own[k] - told_C[k] + slope * lag_s) * math.exp(-h / lag_s)
    place = np.clip(np.searchsorted(told_s, at_s, side="right") - 1, 0, len(told_s) - 1)
    since = np.maximum(0.0, at_s - told_s[place])
    slope = np.append(slopes, 0.0)[place]
    left = np.exp(-since / lag_s)
    found: Floats = told_C[place] + slope * (since - lag_s) + (own[place] - told_C[place] + slope * lag_s) * left
    return found


def current_at_reference(
    time_s: Floats,
    current_A: Floats,
    told_s: Floats,
    told_C: Floats,
    *,
    reference_C: float,
    alpha_per_K: float,
    lag_s: float,
) -> Floats:
    """The currents with which V = R I + E holds for R at the reference temperature: I times R(T) over R there.

    The EMF in V is left as it is.
    """
    T = lagging(told_s, told_C, lag_s, time_s)
    corrected: Floats = current_A * (1 + alpha_per_K * (T - reference_C))
    return corrected


def out_of_step_K(told_s: Floats, told_C: Floats, lag_s: float) -> float:
    """How far a specimen may have been from the temperature that `lagging` gives it, as a mean over the run.

    Where the thermometer moves from the beginning, the specimen was not in step with it then: by its slope times the
    lag, if it has moved so for long. That decays with the lag.
    """
    if lag_s <= 0 or len(told_s) < 3:
        return 0.0
    span_s = float(told_s[-1] - told_s[0])
    early = told_s <= told_s[0] + max(lag_s, float(told_s[2] - told_s[0]))
    slope = float(np.polyfit(told_s[early] - told_s[0], told_C[early], 1)[0])
    return abs(slope) * lag_s * (lag_s / span_s) * -math.expm1(-span_s / lag_s)
