"""Which instruments a run has: where they are, how they speak, and by which drivers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchapp.errors import Fault, InputError
from benchapp.recipe import Recipe
from drivers.dialect import Dialect, load_dialect
from drivers.dialect.energising import faults_together
from drivers.errors import AddressError, DialectError
from drivers.lock import canonical
from drivers.plugins import Driver, load_driver
from drivers.polarity import Polarity
from drivers.roles import CurrentSource, Voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.wires import Wire, check_address


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """Where the instruments are and how they speak. Without a dialect a driver is made of the address alone.

    `*_wire` replaces the connection that an address names. `in_process`: the bench is simulated inside this program and
    ends with it, so there is nothing to guard.
    """

    source: str
    voltmeter: str
    source_dialect: Dialect | None
    voltmeter_dialect: Dialect | None
    source_wire: Callable[[], Wire] | None = None
    voltmeter_wire: Callable[[], Wire] | None = None
    in_process: bool = False
    source_driver: Callable[..., CurrentSource] = ScpiSource
    voltmeter_driver: Callable[..., Voltmeter] = ScpiVoltmeter
    polarity: Polarity | None = None
    polarity_switch: str = ""  # of a simulated bench that has one; channels 1 and 2
    thermometer: str = ""  # tells the specimen's temperature through the run; empty where none does
    thermometer_dialect: Dialect | None = None
    thermometer_wire: Callable[[], Wire] | None = None
    scanner: str = ""  # connects the parts of a run in turns; empty where there is none
    scanner_dialect: Dialect | None = None
    scanner_wire: Callable[[], Wire] | None = None
    compliance_by_hand_V: float | None = None  # what somebody has set on the front panel, and confirmed
    current_voltmeter: str = ""  # the second voltmeter, over a standard resistor; empty where there is none
    current_voltmeter_dialect: Dialect | None = None
    current_voltmeter_wire: Callable[[], Wire] | None = None
    current_voltmeter_driver: Callable[..., Voltmeter] = ScpiVoltmeter
    holder: str = ""  # what others are told who want these instruments meanwhile
    source_dialect_name: str = "scpi"

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
    current_voltmeter: str = "",
    current_voltmeter_dialect: str | None = None,
    thermometer: str = "",
    thermometer_dialect: str | None = None,
    scanner: str = "",
    scanner_dialect: str | None = None,
    compliance_by_hand_V: float | None = None,
    in_process: bool = False,
) -> BenchPlan:
    """A plan from what the user wrote. Raises InputError."""
    drivers: dict[str, Driver] = {}
    faults = []
    wanted = [("source", "source", source, source_dialect), ("voltmeter", "voltmeter", voltmeter, voltmeter_dialect)]
    if current_voltmeter:
        wanted.append(("current-voltmeter", "voltmeter", current_voltmeter, current_voltmeter_dialect))
    for role, kind, _, name in wanted:
        try:
            drivers[role] = load_driver(name or "scpi", kind)
        except DialectError as error:
            problem, _, remedy = str(error).rpartition(". ")
            faults.append(Fault(problem, "", remedy + ".", field=f"--{role}-dialect"))
    for role, _, address, _ in wanted:
        try:
            if role not in drivers or drivers[role].dialect is not None:
                check_address(address)
        except AddressError as error:
            problem, _, remedy = str(error).partition(". ")
            faults.append(Fault(problem, "", remedy, field=f"--{role}"))
    if current_voltmeter and canonical(current_voltmeter) in (canonical(source), canonical(voltmeter)):
        remedy = "Name a voltmeter of its own: both are read at the same time"
        faults.append(Fault("is one of the others", current_voltmeter, remedy, field="--current-voltmeter"))
    spoken = {role: driver.dialect for role, driver in drivers.items() if driver.dialect is not None}
    if source == voltmeter and {"source", "voltmeter"} <= spoken.keys() and not faults:
        for where, text, remedy in faults_together(spoken["source"], spoken["voltmeter"]):
            file = spoken["voltmeter"].path
            faults.append(Fault(f"{where}: not usable", text, remedy + ".", "--voltmeter-dialect", file))
    beside: dict[str, Dialect] = {}
    for kind, address, name in (
        ("thermometer", thermometer, thermometer_dialect),
        ("switch", scanner, scanner_dialect),
    ):
        try:
            if address:
                check_address(address)
                beside[kind] = load_dialect(name or "scpi", kind)
        except AddressError as error:
            problem, _, remedy = str(error).partition(". ")
            faults.append(Fault(problem, "", remedy, field=f"--{kind}"))
        except DialectError as error:
            problem, _, remedy = str(error).rpartition(". ")
            faults.append(Fault(problem, "", remedy + ".", field=f"--{kind}-dialect"))
    if faults:
        raise InputError(*faults)
    second = drivers.get("current-voltmeter")
    return BenchPlan(
        source,
        voltmeter,
        drivers["source"].dialect,
        drivers["voltmeter"].dialect,
        thermometer=thermometer,
        thermometer_dialect=beside.get("thermometer"),
        scanner=scanner,
        scanner_dialect=beside.get("switch"),
        compliance_by_hand_V=compliance_by_hand_V,
        current_voltmeter=current_voltmeter,
        current_voltmeter_dialect=None if second is None else second.dialect,
        current_voltmeter_driver=ScpiVoltmeter if second is None else second.make,
        in_process=in_process,
        source_driver=drivers["source"].make,
        voltmeter_driver=drivers["voltmeter"].make,
        source_dialect_name=_kept_name(source_dialect or "scpi"),
    )


def check_scanner(scanner: str, recipe: Recipe) -> None:
    """Raise InputError where the recipe has parts on a scanner, and none is named."""
    if recipe.channels and not scanner:
        names = ", ".join(channel.name for channel in recipe.channels)
        remedy = "Name the scanner that connects them (--switch ADDR), or leave channels out"
        raise InputError(Fault("no scanner is named", names, remedy, field="channels"))


def _kept_name(name: str) -> str:
    """A dialect's name as another program finds it, which may start in another folder."""
    return str(Path(name).absolute()) if name.endswith(".toml") else name
