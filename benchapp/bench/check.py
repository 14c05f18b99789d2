"""Checking and probing one instrument, for the command line and the window. Only the last one switches an output on."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing

from benchapp.bench.check_energised import check_energised
from benchapp.bench.energised import Energised
from benchapp.bench.limits import HouseLimits
from benchapp.bench.locks import locked
from benchapp.bench.units import harmless_A, user_units
from benchapp.recipe import Recipe
from drivers.check import Checked, check
from drivers.dialect import Dialect
from drivers.guardian import ProcessGuard
from drivers.probe import Progress, Report, probe
from drivers.registry import Transcript, make_source, make_voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.wires import check_address, open_wire


def check_instrument(
    role: str, address: str, dialect: Dialect, transcript: Transcript | None = None
) -> tuple[str, list[Checked], list[str]]:
    """Identity, capabilities and notices. Raises InstrumentError, AddressError."""
    check_address(address)
    make: Callable[..., ScpiSource | ScpiVoltmeter] = make_source if role == "source" else make_voltmeter
    with locked("a check", address), closing(make(address, dialect, transcript=transcript)) as instrument:
        instrument.open()
        return instrument.identity, check(instrument), instrument.notices


def probe_instrument(
    role: str,
    address: str,
    *,
    may_read: bool = False,
    transcript: Transcript | None = None,
    progress: Progress = lambda doing, done, of: None,
) -> Report:
    """What can be found out. Raises InstrumentError, AddressError."""
    check_address(address)
    with locked("a probe", address):
        return probe(
            lambda end: open_wire(address, end.encode("ascii")),
            address,
            role,
            may_read=may_read,
            transcript=transcript,
            progress=progress,
        )


def check_with_output_on(
    source_address: str,
    source_dialect: Dialect,
    voltmeter_address: str,
    voltmeter_dialect: Dialect,
    recipe: Recipe,
    limits: HouseLimits,
) -> list[Checked]:
    """Current and resistor of the recipe, within the limits; a guardian is armed. What it proves is remembered.

    Raises LimitExceeded, InstrumentError.
    """
    limits.check(recipe)
    units, guard, holder = user_units(), ProcessGuard(), "a check with the output on"
    with (
        locked(holder, source_address, voltmeter_address) as locks,
        closing(make_source(source_address, source_dialect)) as source,
    ):
        source.open()
        units.trial_A(source, recipe, limits)
        dialect = source_dialect.path or source_dialect.id
        energised = Energised(source, guard, lock=locks.fd(source_address), dialect=dialect, holder=holder)
        with closing(make_voltmeter(voltmeter_address, voltmeter_dialect)) as voltmeter:
            voltmeter.open()
            found = check_energised(
                source,
                voltmeter,
                guard,
                energised,
                resistance_ohm=recipe.nominal_ohm or 0.0,
                current_A=recipe.current_A,
                compliance_V=recipe.compliance_V,
                trial_A=recipe.current_A if units.is_proved(source) else harmless_A(source, limits),
            )
        # A compliance that no command sets cannot be tried here, and is confirmed for each run.
        open_rows = () if source.spelling("compliance").settable else ("compliance",)
        if found and all(row.state == "works" or row.name in open_rows for row in found):
            units.prove(source)
        return found
