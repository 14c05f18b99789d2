"""The instruments of one run: connected, opened, set up, made safe, closed."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from benchapp.errors import Fault, InputError
from benchapp.recipe import Recipe
from drivers.dialect import Dialect, load_dialect
from drivers.errors import AddressError, DialectError, InstrumentError
from drivers.instrument import Setting
from drivers.plugins import load_driver
from drivers.polarity import Polarity, UnipolarSource
from drivers.registry import Transcript, make_link
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.wires import Wire, check_address

_RANGE_HEADROOM = 1.5  # of the nominal voltage, for EMF and tolerance


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """Where the instruments are and how they speak.

    `*_wire` replaces the connection that an address names. `in_process`: the bench is simulated inside this program and
    ends with it, so there is nothing to guard.
    """

    source: str
    voltmeter: str
    source_dialect: Dialect
    voltmeter_dialect: Dialect
    source_wire: Callable[[], Wire] | None = None
    voltmeter_wire: Callable[[], Wire] | None = None
    in_process: bool = False
    source_driver: type[ScpiSource] = ScpiSource
    voltmeter_driver: type[ScpiVoltmeter] = ScpiVoltmeter
    polarity: Polarity | None = None

    @property
    def one_instrument(self) -> bool:
        """Whether one instrument is both."""
        return self.source == self.voltmeter


def plan_bench(
    source: str,
    voltmeter: str,
    source_dialect: str | None = None,
    voltmeter_dialect: str | None = None,
    *,
    in_process: bool = False,
) -> BenchPlan:
    """A plan from what the user wrote. Raises InputError."""
    dialects: dict[str, Dialect] = {}
    drivers: dict[str, Any] = {}
    faults = []
    for kind, name in (("source", source_dialect), ("voltmeter", voltmeter_dialect)):
        try:
            dialects[kind], drivers[kind] = load_driver(name or "scpi", kind)
        except DialectError as error:
            problem, _, remedy = str(error).rpartition(". ")
            faults.append(Fault(problem, "", remedy + ".", field=f"--{kind}-dialect"))
    for kind, address in (("source", source), ("voltmeter", voltmeter)):
        try:
            check_address(address)
        except AddressError as error:
            problem, _, remedy = str(error).partition(". ")
            faults.append(Fault(problem, "", remedy, field=f"--{kind}"))
    if faults:
        raise InputError(*faults)
    return BenchPlan(
        source,
        voltmeter,
        dialects["source"],
        dialects["voltmeter"],
        in_process=in_process,
        source_driver=drivers["source"],
        voltmeter_driver=drivers["voltmeter"],
    )


class Bench:
    """Both instruments. Used by one thread only."""

    def __init__(self, plan: BenchPlan, transcript: Transcript | None = None) -> None:
        self._plan = plan
        self._transcript = transcript
        self.source: ScpiSource | None = None
        self.voltmeter: ScpiVoltmeter | None = None

    def open(self) -> tuple[ScpiSource, ScpiVoltmeter]:
        """Connect and identify both; where both fail, both are named. Raises InstrumentError."""
        plan, failures = self._plan, []
        try:
            link = make_link(plan.source, plan.source_dialect, wire=plan.source_wire, transcript=self._transcript)
            self.source = plan.source_driver(link, plan.source_dialect)
            if plan.polarity is not None and isinstance(self.source, UnipolarSource):
                self.source.turn_by(plan.polarity)
            self.source.open()
        except InstrumentError as error:
            failures.append(error)
        try:
            if plan.one_instrument and self.source is not None:
                # Source and voltmeter in one: one connection, and no second reset that would undo the first.
                self.voltmeter = plan.voltmeter_driver(self.source.link, plan.voltmeter_dialect)
                self.voltmeter.join(self.source)
            else:
                link = make_link(
                    plan.voltmeter, plan.voltmeter_dialect, wire=plan.voltmeter_wire, transcript=self._transcript
                )
                self.voltmeter = plan.voltmeter_driver(link, plan.voltmeter_dialect)
                self.voltmeter.open()
        except InstrumentError as error:
            failures.append(error)
        _raise(failures)
        assert self.source is not None
        assert self.voltmeter is not None
        return self.source, self.voltmeter

    def configure(self, recipe: Recipe) -> None:
        """Set both up, output off."""
        assert self.source is not None
        assert self.voltmeter is not None
        self.source.configure(current_A=recipe.current_A, compliance_V=recipe.compliance_V)
        range_V = recipe.range_V
        if range_V is None and recipe.nominal_ohm is not None:
            range_V = recipe.nominal_ohm * recipe.current_A * _RANGE_HEADROOM
        self.voltmeter.configure(nplc=recipe.nplc, line_frequency_Hz=recipe.line_frequency_Hz, range_V=range_V)

    def watch(self, on_wait: Callable[[], None]) -> None:
        """Let `on_wait` be called in every slice of a wait for an answer; it may raise to end the wait."""
        for instrument in (self.source, self.voltmeter):
            if instrument is not None:
                instrument.link.on_wait = on_wait

    def make_safe(self, on_wait: Callable[[], None] = lambda: None) -> bool:
        """Output off; True where the source proved it, or was never reached. `on_wait` must not raise."""
        self.watch(on_wait)
        return self.source is None or self.source.safe()

    def close(self) -> None:
        """Hang up on both."""
        for instrument in (self.source, self.voltmeter):
            if instrument is not None:
                with contextlib.suppress(InstrumentError, OSError):
                    instrument.close()

    def identities(self) -> dict[str, str]:
        """Who was opened, by role."""
        found = (("source", self.source), ("voltmeter", self.voltmeter))
        return {role: instrument.identity for role, instrument in found if instrument is not None}

    def settings(self) -> list[tuple[str, Setting]]:
        """All settings as read back, with the role."""
        found = (("source", self.source), ("voltmeter", self.voltmeter))
        return [(role, s) for role, instrument in found if instrument is not None for s in instrument.settings]

    def notices(self) -> list[str]:
        """What the instruments said while they were set up."""
        found = (("source", self.source), ("voltmeter", self.voltmeter))
        return [f"{role}: {text}" for role, i in found if i is not None for text in i.notices]


def _raise(errors: list[InstrumentError]) -> None:
    if len(errors) == 1:
        raise errors[0]
    if errors:
        problem = "; ".join(str(error).rstrip(".") for error in errors)
        raise InstrumentError(problem, resource="source and voltmeter") from errors[0]


@dataclass(frozen=True, slots=True)
class Identified:
    """What one instrument answered; `fault` is empty where it did."""

    role: str
    identity: str = ""
    seconds: float = 0.0
    fault: str = ""


def identify(role: str, address: str, dialect: str) -> Identified:
    """Ask an instrument who it is; nothing is set or switched. Never raises."""
    try:
        check_address(address)
        spoken = load_dialect(dialect, role)
        link = make_link(address, spoken)
        try:
            start = time.monotonic()
            identity = link.identify(spoken.identify)
            return Identified(role, identity, time.monotonic() - start)
        finally:
            link.close()
    except (InstrumentError, AddressError, DialectError) as error:
        return Identified(role, fault=str(error))
