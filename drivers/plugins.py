"""Drivers from other packages: an entry point in the group "benchapp.drivers" names a `DriverPlugin`.

    [project.entry-points."benchapp.drivers"]
    my-source = "my_package:PLUGIN"

Its name is then a dialect's name: `benchapp measure --source-dialect my-source`. A driver of one's own is needed only
where a dialect file does not do: it derives from ScpiSource or ScpiVoltmeter and changes what it must.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points

from drivers.dialect import Dialect, load_dialect
from drivers.errors import DialectError
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

GROUP = "benchapp.drivers"


@dataclass(frozen=True, slots=True)
class DriverPlugin:
    """A driver for one role: the path of its dialect file and the class that speaks it."""

    kind: str
    dialect: str
    driver: type[ScpiSource] | type[ScpiVoltmeter]


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


def load_driver(name: str, kind: str) -> tuple[Dialect, type[ScpiSource] | type[ScpiVoltmeter]]:
    """Dialect and class for a name: an installed driver, else a dialect with our own. Raises DialectError."""
    base: type[ScpiSource] | type[ScpiVoltmeter] = ScpiSource if kind == "source" else ScpiVoltmeter
    for point in entry_points(group=GROUP, name=name):
        plugin = _load(point)
        if plugin.kind != kind:
            continue
        if not issubclass(plugin.driver, base):
            problem = f"the driver {name!r}: {plugin.driver.__name__} is no {base.__name__}"
            raise DialectError(f"{problem}. Derive it from that")
        return load_dialect(plugin.dialect, kind), plugin.driver
    return load_dialect(name, kind), base


def _load(point: EntryPoint) -> DriverPlugin:
    try:
        plugin = point.load()
    except Exception as error:
        raise DialectError(f"the driver {point.name!r} cannot be loaded: {error!r}. Install it anew") from error
    if not isinstance(plugin, DriverPlugin):
        raise DialectError(f"the driver {point.name!r}: {point.value} is no DriverPlugin. Correct its entry point")
    return plugin
