"""What a check cannot prove with the output off: that ON switches on, that the level is in amperes, what the compliance
does. Measured with a voltmeter on a resistor of known value, only where the user has asked for it.
"""

from __future__ import annotations

from benchapp.bench.energised import Energised
from drivers.check import Checked
from drivers.errors import InstrumentError
from drivers.guardian import Guard
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

_AGREES = 0.2  # of the resistor: what tells amperes from milliamperes need not be exact
_SEEN = 0.2
_SETTLE_S = 0.3
_UNITS = {1e-3: "milliamperes: write scale = 1000", 1e-6: "microamperes: write scale = 1000000"}


def check_energised(
    source: ScpiSource,
    voltmeter: ScpiVoltmeter,
    guard: Guard,
    energised: Energised,
    *,
    resistance_ohm: float,
    current_A: float,
    compliance_V: float,
    trial_A: float,
) -> list[Checked]:
    """Both opened instruments on the resistor; the output is off again on every way out. Raises InstrumentError.

    `trial_A` goes first: a scale that is wrong shows in it before the whole current flows.
    """
    source.configure(current_A=current_A, compliance_V=compliance_V)
    voltmeter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    try:
        energised.switch_on()
        found = []
        for level_A in (min(trial_A, current_A), current_A):
            plus = _voltage(source, voltmeter, guard, level_A)
            minus = _voltage(source, voltmeter, guard, -level_A)
            found = _judge((plus - minus) / (2 * level_A), resistance_ohm)
            if any(row.state == "fails" for row in found):
                return found
        if not source.spelling("compliance").settable:
            return [*found, Checked("compliance", "unverified", "no command sets it: try it by hand")]
        found.append(_compliance(source, voltmeter, guard, resistance_ohm, current_A))
        source.set("compliance", compliance_V)
        return found
    finally:
        energised.switch_off()


def _voltage(source: ScpiSource, voltmeter: ScpiVoltmeter, guard: Guard, current_A: float) -> float:
    guard.beat()
    source.step(current_A)
    source.link.pause(_SETTLE_S)
    guard.beat()
    value = voltmeter.read()
    guard.beat()
    return value


def _judge(measured_ohm: float, resistance_ohm: float) -> list[Checked]:
    ratio = measured_ohm / resistance_ohm
    seen = f"{measured_ohm:.4g} ohm measured on {resistance_ohm:.4g} ohm"
    if abs(ratio - 1) <= _AGREES:
        return [Checked("output", "works", f"on: {seen}"), Checked("level", "works", f"in amperes: {seen}")]
    if abs(ratio + 1) <= _AGREES:
        exchanged = f"{seen}: a pair of leads is exchanged, or the sign is"
        return [Checked("output", "works", f"on: {seen}"), Checked("level", "fails", exchanged)]
    for factor, words in _UNITS.items():
        if abs(ratio / factor - 1) <= _AGREES:
            return [
                Checked("output", "works", f"on: {seen}"),
                Checked("level", "fails", f"{seen}: it counts in {words}"),
            ]
    if abs(ratio) < _SEEN:
        return [
            Checked("output", "fails", f"no current seems to flow: {seen}"),
            Checked("level", "unverified", "not seen"),
        ]
    return [Checked("output", "works", f"on: {seen}"), Checked("level", "fails", f"{seen}: check resistor and scale")]


def _compliance(
    source: ScpiSource, voltmeter: ScpiVoltmeter, guard: Guard, resistance_ohm: float, current_A: float
) -> Checked:
    """At half the voltage that the resistor needs: a clamp lets less current flow, a trip switches off."""
    half_V = current_A * resistance_ohm / 2
    try:
        source.step(0.0)
        source.set("compliance", half_V)
        voltage = abs(_voltage(source, voltmeter, guard, current_A))
        on = source.get_bool("output")
    except InstrumentError as error:
        return Checked("compliance", "unverified", f"{half_V:.3g} V was not taken: {error.problem}")
    if not on:
        return Checked("compliance", "works", f'a trip: at {half_V:.3g} V the output went off; write limits = "trip"')
    if voltage < 0.9 * current_A * resistance_ohm:
        seen = f'a clamp: {voltage:.3g} V at a limit of {half_V:.3g} V; write limits = "clamp"'
        return Checked("compliance", "works", seen)
    return Checked("compliance", "fails", f"{voltage:.3g} V flowed at a limit of {half_V:.3g} V: it limits nothing")
