"""A small current first, where the unit of the source's level stands only in a dialect and is not proved here."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.bench.limits import LimitExceeded
from benchapp.bench.units import TOO_MUCH
from benchapp.quantity import engineering
from drivers.roles import Voltmeter

_READINGS = 3
_SPREADS = 5.0


def refuse_wrong_unit(trial_A: float, known_ohm: float, step: Callable[[float], None], voltmeter: Voltmeter) -> None:
    """Both signs of the trial current; LimitExceeded where the voltage is many times what the known resistance allows.

    Less than that is no danger: then a lead is loose, or the specimen is another one, and the run tells.
    """
    found: list[list[float]] = []
    for level_A in (trial_A, -trial_A):
        step(level_A)
        found.append([voltmeter.read() for _ in range(_READINGS)])
    plus, minus = (sum(voltages) / _READINGS for voltages in found)
    spread_V = max(abs(b - a) for voltages in found for a, b in pairwise(voltages))
    overload = not max(abs(voltage) for voltages in found for voltage in voltages) < OVERLOAD_V
    seen_V, allowed_V = abs(plus - minus) / 2, TOO_MUCH * trial_A * known_ohm
    if overload or not seen_V <= allowed_V + _SPREADS * spread_V:
        seen = "an overload" if overload else engineering(seen_V, "V", 3)
        raise LimitExceeded(
            f"current: {engineering(trial_A, 'A')} was asked as a trial, and {seen} is many"
            f" times what {engineering(known_ohm, 'ohm')} makes of it: the scale in the source's dialect seems wrong."
            " Correct it, or the nominal resistance",
            "current",
        )
