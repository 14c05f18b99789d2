"""The instruments of one run: connected, opened, set up, made safe, closed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import TypeVar

from benchapp.bench.ammeter import Ammeter, check_measured_current
from benchapp.bench.energised import Energised
from benchapp.bench.locks import Locks
from benchapp.bench.output import OutputState
from benchapp.bench.plan import BenchPlan, check_scanner
from benchapp.bench.specimen_thermometer import SpecimenThermometer
from benchapp.errors import InputError
from benchapp.recipe import Recipe
from drivers.dialect import Dialect
from drivers.errors import InstrumentError
from drivers.guardian import Guard
from drivers.instrument import Setting
from drivers.lock import canonical
from drivers.polarity import UnipolarSource
from drivers.registry import Transcript, make_link
from drivers.roles import CurrentSource, Opened, Voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_switch import ScpiSwitch
from drivers.scpi_thermometer import ScpiThermometer
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.wires import Wire

Made = TypeVar("Made")
RANGE_HEADROOM = 1.5  # of the nominal voltage, for EMF and tolerance
_QUIET_S = 0.1  # from an output that reads off to contacts that may open
_SHUNT_HEADROOM = 1.2  # a standard resistor is known, and so is the current


class Bench:
    """The instruments. Used by one thread only. `current_voltmeter` is there where the plan names one."""

    def __init__(self, plan: BenchPlan, transcript: Transcript | None = None) -> None:
        self._plan = plan
        self._transcript = transcript
        self.source: CurrentSource | None = None
        self.voltmeter: Voltmeter | None = None
        self.current_voltmeter: Voltmeter | None = None
        self.thermometer: ScpiThermometer | None = None
        self.thermometer_inside = False  # the voltmeter
        self.scanner: ScpiSwitch | None = None
        # A replaced wire does not lead to the instrument at that address.
        reached = [(plan.source, plan.source_wire), (plan.voltmeter, plan.voltmeter_wire)]
        if plan.current_voltmeter:
            reached.append((plan.current_voltmeter, plan.current_voltmeter_wire))
        if plan.thermometer:
            reached.append((plan.thermometer, plan.thermometer_wire))
        if plan.scanner:
            reached.append((plan.scanner, plan.scanner_wire))
        self._locks = Locks([address for address, wire in reached if wire is None and not plan.in_process])

    def energised(self, guard: Guard, seen: Callable[[OutputState], None]) -> Energised | None:
        """The one way to drive the opened source; None where it could not be reached."""
        if self.source is None:
            return None
        return Energised(
            self.source,
            guard,
            seen=seen,
            lock=self._locks.fd(self._plan.source),
            dialect=self._plan.source_dialect_name,
            holder=self._plan.holder,
        )

    def open(self, on_wait: Callable[[], None] = lambda: None) -> tuple[CurrentSource, Voltmeter]:
        """Connect and identify them; where several fail, all are named. Raises InstrumentError; InstrumentBusy where
        another program has one of them.

        `on_wait` is called in every wait and after each of them, and may raise to end it.
        """
        plan = self._plan
        self._locks.take(plan.holder, on_wait)
        failures: list[InstrumentError] = []
        try:
            self.source = self._made(plan.source_driver, plan.source, plan.source_dialect, plan.source_wire)
            if plan.polarity is not None and isinstance(self.source, UnipolarSource):
                self.source.turn_by(plan.polarity)
            if isinstance(self.source, ScpiSource):
                self.source.compliance.confirmed_V = plan.compliance_by_hand_V
            self.source.watch(on_wait)
            self.source.open()
            on_wait()
        except InstrumentError as error:
            failures.append(error)
        try:
            if plan.one_instrument and isinstance(self.source, ScpiSource):
                # Source and voltmeter in one: one connection, and no second reset that would undo the first.
                voltmeter = plan.voltmeter_driver(self.source.link, plan.voltmeter_dialect)
                assert isinstance(voltmeter, ScpiVoltmeter)
                voltmeter.join(self.source)
                self.voltmeter = voltmeter
            else:
                self.voltmeter = self._made(
                    plan.voltmeter_driver, plan.voltmeter, plan.voltmeter_dialect, plan.voltmeter_wire
                )
                self.voltmeter.watch(on_wait)
                self.voltmeter.open()
            on_wait()
        except InstrumentError as error:
            failures.append(error)
        try:
            if plan.current_voltmeter:
                self.current_voltmeter = self._made(
                    plan.current_voltmeter_driver,
                    plan.current_voltmeter,
                    plan.current_voltmeter_dialect,
                    plan.current_voltmeter_wire,
                )
                self.current_voltmeter.watch(on_wait)
                self.current_voltmeter.open()
                on_wait()
        except InstrumentError as error:
            failures.append(error)
        try:
            if plan.thermometer and plan.thermometer_dialect is not None:
                self.thermometer = self._opened_thermometer(plan, plan.thermometer_dialect, on_wait)
                on_wait()
        except InstrumentError as error:
            failures.append(error)
        try:
            if plan.scanner and plan.scanner_dialect is not None and not failures:
                self.scanner = self._opened_scanner(plan, plan.scanner_dialect, on_wait)
                on_wait()
        except InstrumentError as error:
            failures.append(error)
        _raise(failures)
        assert self.source is not None
        assert self.voltmeter is not None
        return self.source, self.voltmeter

    def _opened_scanner(self, plan: BenchPlan, dialect: Dialect, on_wait: Callable[[], None]) -> ScpiSwitch:
        """All its contacts open: the source is off. A scanner inside another instrument shares its connection."""
        other = self._at(plan.scanner)
        if other is not None:
            inside = ScpiSwitch(other.link, dialect)
            inside.join(other)
            inside.open_all()
            return inside
        scanner = self._made(ScpiSwitch, plan.scanner, dialect, plan.scanner_wire)
        scanner.watch(on_wait)
        scanner.open()
        return scanner

    def _opened_thermometer(self, plan: BenchPlan, dialect: Dialect, on_wait: Callable[[], None]) -> ScpiThermometer:
        """One that is an input of the voltmeter shares its connection, and is heard before anything else is asked."""
        other = self._at(plan.thermometer)
        if other is not None:
            self.thermometer_inside = True
            inside = ScpiThermometer(other.link, dialect)
            inside.join(other)
            return inside
        thermometer = self._made(ScpiThermometer, plan.thermometer, dialect, plan.thermometer_wire)
        thermometer.watch(on_wait)
        thermometer.open()
        return thermometer

    def _at(self, address: str) -> ScpiVoltmeter | ScpiSource | None:
        """The opened instrument at that address, where source or voltmeter is there."""
        here = canonical(address)
        for other in (self.voltmeter, self.source):
            if isinstance(other, ScpiVoltmeter | ScpiSource) and canonical(other.link.resource) == here:
                return other
        return None

    def scanner_for(self, recipe: Recipe) -> ScpiSwitch | None:
        """What connects the recipe's parts; None where it has none. Raises InstrumentError without a scanner."""
        try:
            check_scanner("" if self.scanner is None else self._plan.scanner, recipe)
        except InputError as error:
            raise InstrumentError(str(error), resource="scanner") from error
        return self.scanner if recipe.channels else None

    def _made(
        self, driver: Callable[..., Made], address: str, dialect: Dialect | None, wire: Callable[[], Wire] | None
    ) -> Made:
        if dialect is None:
            return driver(address)
        return driver(make_link(address, dialect, wire=wire, transcript=self._transcript), dialect)

    def configure(self, recipe: Recipe, on_wait: Callable[[], None] = lambda: None) -> None:
        """Set both up, output off; `on_wait` is called between them, and may raise to end it."""
        assert self.source is not None
        assert self.voltmeter is not None
        self.source.configure(current_A=recipe.current_A, compliance_V=recipe.compliance_V)
        on_wait()
        range_V = recipe.range_V
        if range_V is None and recipe.nominal_ohm is not None:
            range_V = recipe.nominal_ohm * recipe.current_A * RANGE_HEADROOM
        self.voltmeter.configure(nplc=recipe.nplc, line_frequency_Hz=recipe.line_frequency_Hz, range_V=range_V)
        if self.current_voltmeter is not None and recipe.current_shunt_ohm is not None:
            on_wait()
            over_V = recipe.current_shunt_ohm * recipe.current_A * _SHUNT_HEADROOM
            line_Hz = recipe.line_frequency_Hz
            self.current_voltmeter.configure(nplc=recipe.nplc, line_frequency_Hz=line_Hz, range_V=over_V)
        if self.thermometer is not None:
            on_wait()
            self.thermometer.configure()

    def ammeter(self, recipe: Recipe) -> Ammeter | None:
        """The second voltmeter with its resistor; None where the current is not measured.

        Raises InstrumentError where one of the two is missing.
        """
        try:
            check_measured_current("" if self.current_voltmeter is None else self._plan.current_voltmeter, recipe)
        except InputError as error:
            raise InstrumentError(str(error), resource="current voltmeter") from error
        if self.current_voltmeter is None or recipe.current_shunt_ohm is None:
            return None
        return Ammeter(self.current_voltmeter, recipe.current_shunt_ohm)

    def specimen_thermometer(self, recipe: Recipe) -> SpecimenThermometer | None:
        """What corrects the readings; None where the recipe does not. Raises InstrumentError where there is none."""
        if not recipe.corrects_temperature:
            return None
        if self.thermometer is None:
            raise InstrumentError(
                "the recipe corrects the temperature through the run, and no thermometer is named",
                resource="thermometer",
                remedy="Name one (--thermometer ADDR), or leave temperature_lag out.",
            )
        return SpecimenThermometer(self.thermometer, recipe.temperature_lag_s or 0.0, at_once=self.thermometer_inside)

    def _roles(self) -> list[tuple[str, Opened]]:
        found = (
            ("source", self.source),
            ("voltmeter", self.voltmeter),
            ("current voltmeter", self.current_voltmeter),
            ("thermometer", self.thermometer),
            ("scanner", self.scanner),
        )
        return [(role, instrument) for role, instrument in found if instrument is not None]

    def watch(self, on_wait: Callable[[], None]) -> None:
        """Let `on_wait` be called in every slice of a wait for an answer; it may raise to end the wait."""
        for _, instrument in self._roles():
            instrument.watch(on_wait)

    def close(self, *, contacts: bool = True) -> None:
        """Hang up on all of them. `contacts`: the output is off, so a scanner may open its own."""
        if contacts and self.scanner is not None:
            with contextlib.suppress(InstrumentError, OSError):
                self.scanner.link.pause(_QUIET_S)
                self.scanner.open_all()
        for _, instrument in self._roles():
            with contextlib.suppress(InstrumentError, OSError):
                instrument.close()
        self._locks.release()

    def identities(self) -> dict[str, str]:
        """Who was opened, by role."""
        return {role: instrument.identity for role, instrument in self._roles()}

    def settings(self) -> list[tuple[str, Setting]]:
        """All settings as read back, with the role."""
        return [(role, s) for role, instrument in self._roles() for s in instrument.settings]

    def notices(self) -> list[str]:
        """What the instruments said while they were set up."""
        return [f"{role}: {text}" for role, instrument in self._roles() for text in instrument.notices]


def _raise(errors: list[InstrumentError]) -> None:
    if len(errors) == 1:
        raise errors[0]
    if errors:
        problem = "; ".join(str(error).rstrip(".") for error in errors)
        raise InstrumentError(problem, resource="source and voltmeter") from errors[0]
