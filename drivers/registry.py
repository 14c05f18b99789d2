"""From an address and a dialect to a driver."""

from __future__ import annotations

from collections.abc import Callable

from drivers.brief_wire import BriefWire
from drivers.dialect import Dialect
from drivers.link import Habits, Link
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.wires import Wire, open_wire

Transcript = Callable[[str, str, str], None]


def make_link(
    address: str, dialect: Dialect, *, wire: Callable[[], Wire] | None = None, transcript: Transcript | None = None
) -> Link:
    """Connect; `wire` replaces the connection that the address names."""
    end = dialect.read_termination.encode("ascii")

    def connect() -> Wire:
        return open_wire(address, end, dialect.serial)

    opened = wire or connect
    return Link(
        (lambda: BriefWire(opened, address)) if dialect.hangs_up else opened,
        address,
        write_termination=dialect.write_termination,
        timeout_s=dialect.timeout_s,
        transcript=transcript,
        habits=Habits(dialect.command_gap_s, dialect.max_message_bytes, dialect.prompt, dialect.echo, dialect.greeting),
    )


def make_source(
    address: str, dialect: Dialect, *, wire: Callable[[], Wire] | None = None, transcript: Transcript | None = None
) -> ScpiSource:
    """A connected current source, not yet opened."""
    return ScpiSource(make_link(address, dialect, wire=wire, transcript=transcript), dialect)


def make_voltmeter(
    address: str, dialect: Dialect, *, wire: Callable[[], Wire] | None = None, transcript: Transcript | None = None
) -> ScpiVoltmeter:
    """A connected voltmeter, not yet opened."""
    return ScpiVoltmeter(make_link(address, dialect, wire=wire, transcript=transcript), dialect)
