"""What an examined run found, as JSON and back, and in sentences."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from benchapp.analysis.examined.examine import Effect, Examined
from benchapp.quantity import engineering

NAMES = {
    "settling": "settling",
    "warming": "warming by the current",
    "even": "difference of the polarities",
    "level": "dependence on the current",
    "following": "EMF that follows the current's sign",
}


def examined_object(found: Examined | None) -> dict[str, Any] | None:
    """For JSON and the record; a time constant that does not exist is null."""
    if found is None:
        return None
    told = asdict(found)
    for effect in told["effects"]:
        effect["tau_s"] = effect["tau_s"] if math.isfinite(effect["tau_s"]) else None
    return told


def examined_from(told: dict[str, Any] | None) -> Examined | None:
    """Out of a recorded statement."""
    if told is None:
        return None
    effects = tuple(
        Effect(**{**effect, "tau_s": math.nan if effect["tau_s"] is None else effect["tau_s"]})
        for effect in told["effects"]
    )
    return Examined(**{**told, "effects": effects})


def examined_in_words(found: Examined) -> list[str]:
    """R at zero power, and of each effect what was found or would have been seen."""
    zero, half = found.zero_power_ohm, found.zero_power_half_width_ohm
    lines = [f"at zero power R = {_with(zero, half)}, from {found.cycles} cycles"]
    for effect in found.effects:
        name = NAMES[effect.name]
        if effect.found:
            lines.append(f"{name}: found, {_with(effect.size_ohm, effect.half_width_ohm)}{_tau(effect.tau_s)}")
        else:
            lines.append(f"{name}: none found; above {engineering(effect.seen_above_ohm, 'ohm', 2)} it would have been")
    return lines


def _tau(tau_s: float) -> str:
    return f", time constant {engineering(tau_s, 's', 3)}" if math.isfinite(tau_s) else ""


def _with(value_ohm: float, half_ohm: float) -> str:
    """A value with its half-width, both in the value's own prefix."""
    digits = 4
    if half_ohm > 0 and value_ohm:
        digits = min(10, max(2, 2 + math.ceil(math.log10(max(abs(value_ohm) / half_ohm, 1.0)))))
    return f"{engineering(value_ohm, 'ohm', digits)} ± {engineering(half_ohm, 'ohm', 2)}"
