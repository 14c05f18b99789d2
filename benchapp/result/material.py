"""What a resistance says of the conductor: per length against a class, resistivity and conductivity."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from benchapp.analysis.conductor import Conductor, material
from benchapp.analysis.estimate import Estimate
from benchapp.quantity import concise, engineering


@dataclass(frozen=True, slots=True)
class Geometry:
    """Length between the sense leads and cross-section, with standard uncertainties; None where it is not known."""

    length_m: float
    area_m2: float | None = None
    u_length_m: float = 0.0
    u_area_m2: float = 0.0
    conductor: Conductor | None = None


def material_object(estimate: Estimate, geometry: Geometry) -> dict[str, Any]:
    """Per length, against the class, resistivity: as far as the geometry carries. The estimate holds at 20 degC."""
    R, u = estimate.resistance_ohm, estimate.standard_uncertainty_ohm
    per_length = R / geometry.length_m
    relative = math.hypot(u / R if R else math.nan, geometry.u_length_m / geometry.length_m)
    found: dict[str, Any] = {
        "length_m": geometry.length_m,
        "resistance_per_length_ohm_per_m": per_length,
        "resistance_per_length_standard_uncertainty_ohm_per_m": _exists(abs(per_length) * relative),
    }
    if geometry.conductor is not None:
        largest = geometry.conductor.largest_ohm_per_m
        found["class_limit_ohm_per_m"] = largest
        found["within_class"] = per_length <= largest
    if geometry.area_m2 is not None:
        m = material(
            R,
            u,
            area_m2=geometry.area_m2,
            length_m=geometry.length_m,
            u_area_m2=geometry.u_area_m2,
            u_length_m=geometry.u_length_m,
        )
        found["resistivity_ohm_m"] = m.resistivity_ohm_m
        found["resistivity_standard_uncertainty_ohm_m"] = _exists(m.standard_uncertainty_ohm_m)
        found["percent_iacs"] = m.percent_iacs
    return found


def material_in_words(found: dict[str, Any]) -> list[str]:
    """The same for people."""
    u = found["resistance_per_length_standard_uncertainty_ohm_per_m"] or 0.0
    lines = [f"per length: {concise(found['resistance_per_length_ohm_per_m'], u, 'ohm')}/m"]
    if "class_limit_ohm_per_m" in found:
        within = "within" if found["within_class"] else "above"
        lines.append(
            f"conductor class: {within} the {engineering(found['class_limit_ohm_per_m'], 'ohm', 4)}/m allowed at 20 °C"
            " (IEC 60228)"
        )
    if "resistivity_ohm_m" in found:
        u = found["resistivity_standard_uncertainty_ohm_m"] or 0.0
        value = concise(found["resistivity_ohm_m"], u, "ohm")
        lines.append(f"resistivity: {value} m, {found['percent_iacs']:.2f} % IACS at 20 °C (IEC 60028)")
    return lines


def _exists(value: float) -> float | None:
    return value if math.isfinite(value) else None
