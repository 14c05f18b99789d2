"""A result as the JSON object that other programs read. A value that does not exist is null, never NaN."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from benchapp.analysis.estimate import Estimate

_KEYS = (
    "resistance_ohm",
    "standard_uncertainty_ohm",
    "expanded_uncertainty_ohm",
    "coverage_factor",
    "coverage_probability",
    "degrees_of_freedom",
    "repeatability_95_ohm",
    "thermal_emf_V",
    "thermal_emf_slope_V_per_s",
    "readings",
    "blocks",
    "drift_ohm_per_s",
    "reading_noise_V",
    "noise_V_per_rt_Hz",
)


def result_object(identity: dict[str, Any], estimate: Estimate, verdict: str | None = None) -> dict[str, Any]:
    """`identity` is {"file": ...} or {"run_id": ...}."""
    values = {key: _exists(getattr(estimate, key)) for key in _KEYS}
    return {
        **identity,
        **values,
        "state": str(estimate.state),
        "estimator": str(estimate.estimator),
        "flags": [asdict(flag) for flag in estimate.flags],
        "verdict": verdict,
    }


def to_line(value: dict[str, Any]) -> str:
    """One line of strict JSON."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _exists(value: float | int) -> float | int | None:
    return value if math.isfinite(value) else None
