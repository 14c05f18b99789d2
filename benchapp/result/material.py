"""What a resistance says of the conductor: per length against a class, resistivity and conductivity."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from benchapp.analysis.conductor import Conductor, material
from benchapp.analysis.decision import Verdict, judge_limits
from benchapp.quantity import concise, engineering
from benchapp.result.budget import TemperatureCorrection
from benchapp.result.decision import DecisionRule

CLASS_TEMPERATURE_C = 20.0  # IEC 60228:2004, clause 5: limits hold at 20 degC


@dataclass(frozen=True, slots=True)
class Geometry:
    """Length between the sense leads and cross-section, with standard uncertainties; None where it is not known."""

    length_m: float
    area_m2: float | None = None
    u_length_m: float = 0.0
    u_area_m2: float = 0.0
    conductor: Conductor | None = None


def material_object(
    R: float, u: float, U: float, geometry: Geometry, correction: TemperatureCorrection | None, rule: DecisionRule
) -> dict[str, Any]:
    """Per length, against the class, resistivity: as far as the geometry carries.

    A class is judged by U as any limit is, and only at its reference temperature of 20 degC.
    """
    per_length = R / geometry.length_m
    relative = math.hypot(u / R if R else math.nan, geometry.u_length_m / geometry.length_m)
    u_per_length = abs(per_length) * relative
    at_C = None if correction is None else correction.reference_C
    found: dict[str, Any] = {
        "length_m": geometry.length_m,
        "temperature_C": at_C,
        "resistance_per_length_ohm_per_m": per_length,
        "resistance_per_length_standard_uncertainty_ohm_per_m": _exists(u_per_length),
    }
    if geometry.conductor is not None:
        largest = geometry.conductor.largest_ohm_per_m
        expanded = U / u * u_per_length if u > 0 else math.nan
        holds = at_C is not None and math.isclose(at_C, CLASS_TEMPERATURE_C, abs_tol=1e-9)
        verdict = judge_limits(per_length, expanded, None, largest, rule.guard) if holds else None
        found["class_limit_ohm_per_m"] = largest
        found["class_verdict"] = None if verdict is None else str(verdict)
        found["within_class"] = {Verdict.PASS: True, Verdict.FAIL: False}.get(verdict) if verdict is not None else None
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


_OF_CLASS = {
    Verdict.PASS: "within",
    Verdict.FAIL: "above",
    Verdict.UNDECIDED: "the interval crosses",
}


def material_in_words(found: dict[str, Any]) -> list[str]:
    """The same for people."""
    u = found["resistance_per_length_standard_uncertainty_ohm_per_m"] or 0.0
    at_C = found.get("temperature_C")
    at = "" if at_C is None else f" at {at_C:g} °C"
    lines = [f"per length: {concise(found['resistance_per_length_ohm_per_m'], u, 'ohm')}/m{at}"]
    if "class_limit_ohm_per_m" in found:
        limit = f"{engineering(found['class_limit_ohm_per_m'], 'ohm', 4)}/m allowed at 20 °C (IEC 60228)"
        verdict = found["class_verdict"]
        if verdict is None:
            lines.append(f"conductor class: not judged, the value does not hold at 20 °C; {limit}")
        else:
            lines.append(f"conductor class: {_OF_CLASS[Verdict(verdict)]} the {limit}")
    if "resistivity_ohm_m" in found:
        u = found["resistivity_standard_uncertainty_ohm_m"] or 0.0
        value = concise(found["resistivity_ohm_m"], u, "ohm")
        lines.append(f"resistivity: {value} m{at}, {found['percent_iacs']:.2f} % IACS (IEC 60028)")
    return lines


def _exists(value: float) -> float | None:
    return value if math.isfinite(value) else None
