"""The current, measured: a second voltmeter over a standard resistor in series with the specimen.

It is read in the same step: both readings are started before either is waited for, so that they see the same current. A
constant or drifting EMF of its wiring needs no care of its own: in V = R I + E an offset of the measured I is one more
part of E.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.errors import Fault, InputError
from benchapp.recipe import Recipe
from drivers.roles import Voltmeter
from drivers.scpi_voltmeter import ScpiVoltmeter


def check_measured_current(address: str, recipe: Recipe) -> None:
    """The second voltmeter, at `address` or nowhere, and its resistor come together. Raises InputError."""
    if bool(address) == (recipe.current_shunt_ohm is not None):
        return
    if address:
        remedy = 'Write the resistor that the second voltmeter reads over, as in current_shunt = "10 mohm"'
        raise InputError(Fault("missing", "", remedy, field="current_shunt"))
    remedy = "Name the voltmeter that reads over this resistor, as in --current-voltmeter ADDR, or leave it out"
    raise InputError(Fault("stands there without a second voltmeter", "", remedy, field="current_shunt"))


@dataclass(frozen=True, slots=True)
class Ammeter:
    """The second voltmeter, and the resistance between whose sense terminals it reads."""

    voltmeter: Voltmeter
    shunt_ohm: float

    def read_beside(self, voltmeter: Voltmeter) -> tuple[float, float]:
        """One reading of the other voltmeter in volt, and the current beside it in ampere."""
        own = self.voltmeter
        if not (isinstance(voltmeter, ScpiVoltmeter) and isinstance(own, ScpiVoltmeter)):
            return voltmeter.read(), own.read() / self.shunt_ohm
        voltmeter.begin()
        own.begin()
        voltage_V = voltmeter.finish()
        return voltage_V, own.finish() / self.shunt_ohm
