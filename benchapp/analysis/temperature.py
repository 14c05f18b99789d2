"""Resistance at a reference temperature, and what copper and aluminium do."""

from __future__ import annotations

import math

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
