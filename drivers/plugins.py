"""Drivers from other packages: an entry point in the group "benchapp.drivers" names a `DriverPlugin`.

    [project.entry-points."benchapp.drivers"]
    my-source = "my_package:PLUGIN"

Its name is then a dialect's name: `benchapp measure --source-dialect my-source`. A driver of one's own is needed only
where a dialect file does not do. With a dialect it is made of a link and that dialect, and may derive from ScpiSource
or ScpiVoltmeter and change what it must; without one it is made of the address alone, and need not speak SCPI at all.
Either way it has what `drivers.roles` asks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from drivers.dialect import Dialect, load_dialect
from drivers.errors import DialectError
from drivers.roles import CurrentSource, Voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

GROUP = "benchapp.drivers"


@dataclass(frozen=True, slots=True)
class DriverPlugin:
    """A driver for one role: the path of its dialect file (empty: none) and what makes the instrument."""

    kind: str
    dialect: str
    driver: Callable[..., Any]


def plugin_names(kind: str) -> list[str]:
    """Names of the installed drivers of a role; one that cannot be loaded is left out."""
    names = []
    for point in entry_points(group=GROUP):
        try:
            if _load(point).kind == kind:
                names.append(point.name)
        except DialectError:
            continue
    return sorted(names)


@dataclass(frozen=True, slots=True)
class Driver:
    """How an instrument is made: of a link and a dialect, or without a dialect of its address."""

    make: Callable[..., Any]
    dialect: Dialect | None


def load_driver(name: str, kind: str) -> Driver:
    """For a name: an installed driver, else a dialect with our own. Raises DialectError."""
    for point in entry_points(group=GROUP, name=name):
        plugin = _load(point)
        if plugin.kind != kind:
            continue
        lacking = [member for member in _MEMBERS[kind] if not hasattr(plugin.driver, member)]
        if lacking:
            raise DialectError(
                f"the driver {name!r} has no {', '.join(lacking)}. Add what drivers.roles asks of a {kind}"
            )
        return Driver(plugin.driver, load_dialect(plugin.dialect, kind) if plugin.dialect else None)
    return Driver(ScpiSource if kind == "source" else ScpiVoltmeter, load_dialect(name, kind))


def _members(role: type) -> tuple[str, ...]:
    """What a class must have: methods only, because values may be set when it is made."""
    found = {name for kind in role.__mro__ for name, value in vars(kind).items() if callable(value)}
    return tuple(sorted(name for name in found if not name.startswith("_")))


_MEMBERS = {"source": _members(CurrentSource), "voltmeter": _members(Voltmeter)}


def _load(point: EntryPoint) -> DriverPlugin:
    try:
        plugin = point.load()
    except Exception as error:
        raise DialectError(f"the driver {point.name!r} cannot be loaded: {error!r}. Install it anew") from error
    if not isinstance(plugin, DriverPlugin):
        raise DialectError(f"the driver {point.name!r}: {point.value} is no DriverPlugin. Correct its entry point")
    return plugin
