"""A wish as people type it: target, what is permitted, and where the noise is known from."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from benchapp.analysis.noise import Noise, thermal_V2_per_Hz
from benchapp.bench.limits import HouseLimits
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.plan.learnt import Learnt
from benchapp.plan.optimum import Wish
from benchapp.plan.weights import Pace
from benchapp.quantity import parse_positive
from benchapp.result.budget import BudgetPlan


def wish_of(
    texts: Mapping[str, str | None], known: BudgetPlan, limits: HouseLimits, learnt: Learnt | None, *, examine: bool
) -> Wish:
    """`texts` by name: nominal, target, max-current, max-power, max-voltage, max-time, settle, line-frequency; what is
    missing or empty is not given. Raises InputError that names the option.
    """

    def quantity(name: str, unit: str) -> float | None:
        return _quantity(texts.get(name), unit, f"--{name}")

    nominal = quantity("nominal", "ohm")
    if nominal is None:
        remedy = 'Write for example "250 uohm"'
        raise InputError(Fault("missing", "", remedy, field="--nominal"))
    return Wish(
        nominal,
        target_of(texts.get("target") or "", nominal),
        noise_of(known, learnt),
        known,
        min(limits.current_A, quantity("max-current", "A") or math.inf),
        min(limits.power_W, quantity("max-power", "W") or math.inf),
        quantity("max-voltage", "V"),
        quantity("max-time", "s"),
        pace=Pace() if learnt is None else learnt.pace,
        settle_s=quantity("settle", "s"),
        line_frequency_Hz=quantity("line-frequency", "Hz") or 50.0,
        examine=examine,
    )


def _quantity(text: str | None, unit: str, option: str) -> float | None:
    if text is None or not text.strip():
        return None
    try:
        return parse_positive(text, unit)
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, fault.value, fault.remedy, field=option)) from error


def target_of(text: str, nominal_ohm: float) -> float:
    """In ohm, from a quantity, % or ppm of the nominal value. Raises InputError."""
    match = re.fullmatch(r"\s*([0-9.eE+-]+)\s*(%|ppm)\s*", text)
    if match is None:
        found = _quantity(text, "ohm", "--target")
        assert found is not None
        return found
    try:
        part = float(match[1]) * (1e-2 if match[2] == "%" else 1e-6)
    except ValueError:
        part = math.nan
    if not 0 < part < 1:
        remedy = 'Write for example "0.02 %", "200 ppm" or "50 nohm"'
        raise InputError(Fault("no target uncertainty", text, remedy, field="--target"))
    return part * nominal_ohm


def noise_of(known: BudgetPlan, learnt: Learnt | None) -> Noise:
    """That of a run, else that of the accuracy data. Raises InputError where neither knows it."""
    if learnt is not None:
        return learnt.noise
    card = known.card
    voltmeter = None if card is None else card.voltmeter
    if card is None or voltmeter is None or voltmeter.noise_per_rt_Hz is None:
        remedy = "Write noise_nV_per_rt_Hz under [voltmeter] of the accuracy data, or name a run by --from-run"
        raise InputError(Fault("the noise of the bench is not known", "", remedy, field="--accuracy"))
    e2 = voltmeter.noise_per_rt_Hz**2
    of_current = 0.0 if card.source is None else card.source.noise_per_rt_Hz or 0.0
    thermal = thermal_V2_per_Hz(card.circuit.sense_leads_ohm)
    return Noise(e2 + thermal, e2 * voltmeter.flicker_corner_Hz, card.circuit.emf_walk_V_per_rt_s, of_current)
