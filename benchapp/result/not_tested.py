"""What the readings of one run cannot tell: said beside every result until something tests it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.examined.examine import Examined
from benchapp.analysis.levels import level_groups, sign_period
from benchapp.analysis.traps.detect import LEAST_READINGS
from benchapp.quantity import engineering
from benchapp.result.examined import NAMES

# What a run that examines itself tells.
_EXAMINED = frozenset({"settling", "current-dependence", "steady-heating", "asymmetry"})
_EXAMINE = " A run with --examine tells."

TEXTS = {
    "settling": "Settling slower than the delay: with one reading after each reversal it looks like resistance. Use a"
    " sequence with two readings a polarity (++--), or compare with twice the delay.",
    "current-dependence": "Dependence on the current (a film, a poor contact): measure at a second current.",
    "steady-heating": "Steady self-heating: measure at a second current.",
    "wrong-current": "A current that is wrong but constant: it was set, not measured. Accuracy data bounds it.",
    "resistor": "The resistor over which the current was measured: its value was typed. Accuracy data bounds it.",
    "asymmetry": "Currents of the two signs that differ: they were set, not measured.",
    "pickup-in-step": "Pick-up in step with the reversals, as of mains at their very rate: it looks like resistance."
    " Vary the delay, or use an irregular sequence.",
    "faults-in-readings": "Steps, pulses, settling, drift and pick-up: the readings are too few to look for them.",
    "compliance": "A current that the compliance limits: this source cannot say whether it does.",
}


@dataclass(frozen=True, slots=True)
class Untested:
    """One thing that was not tested: a code for files, a sentence for people."""

    code: str
    text: str


def not_tested(
    current_A: Sequence[float] | np.ndarray,
    *,
    tells_compliance: bool,
    current_is_bounded: bool,
    current_is_measured: bool = False,
    unread: Sequence[str] = (),
    examined: Examined | None = None,
) -> tuple[Untested, ...]:
    """By the currents of a run, by whether its source tells that it limits, and by what is known of the current.

    `unread` are settings that could not be read back, by role and name; `examined` is what an examined run found.
    """
    I = np.asarray(current_A, dtype=float)
    codes = []
    if not _stays(I):
        codes.append("settling")
    if len(level_groups(I).sizes_A) < 2:
        codes += ["current-dependence", "steady-heating"]
    if not current_is_bounded:
        codes.append("resistor" if current_is_measured else "wrong-current")
    if not current_is_measured:
        codes.append("asymmetry")
    if len(I) < LEAST_READINGS:
        codes.append("faults-in-readings")
    if sign_period(I):
        codes.append("pickup-in-step")
    if not tells_compliance:
        codes.append("compliance")
    if examined is not None:
        found = [Untested(code, TEXTS[code]) for code in codes if code not in _EXAMINED]
        found += _beyond(examined)
    else:
        found = [Untested(code, TEXTS[code] + (_EXAMINE if code in _EXAMINED else "")) for code in codes]
    if unread:
        text = f"{', '.join(unread)}: sent, and this instrument cannot be asked what became of it."
        found.append(Untested("not-read-back", text[0].upper() + text[1:]))
    return tuple(found)


def _beyond(examined: Examined) -> list[Untested]:
    """What an examined run cannot tell either."""
    slow = f"Settling slower than {engineering(examined.longest_tau_s, 's', 2)}: it looks like resistance."
    small = "; ".join(
        f"{NAMES[effect.name]} below {engineering(effect.seen_above_ohm, 'ohm', 2)}"
        for effect in examined.effects
        if not effect.found
    )
    sign = (
        "An EMF that follows the current's sign, as at a junction that the current heats or cools: at two currents it"
        " looks like a dependence on the current; below what would have been seen it is in the value."
    )
    third = any(effect.name == "following" for effect in examined.effects)
    found = [Untested("slow-settling", slow), *([] if third else [Untested("sign-following-emf", sign)])]
    return [*found, Untested("small-effects", f"{small[0].upper()}{small[1:]}.")] if small else found


def untested_from(found: Iterable[dict[str, str]]) -> tuple[Untested, ...]:
    """Out of a recorded statement."""
    return tuple(Untested(item["code"], item["text"]) for item in found)


def _stays(I: np.ndarray) -> bool:
    """Whether a good part of the readings follows another one at the same current."""
    if len(I) < 3:
        return False
    groups = level_groups(I).group
    return float((groups[1:] == groups[:-1]).mean()) > 0.2
