"""Who an instrument is: asked and told, nothing set."""

from __future__ import annotations

import time
from dataclasses import dataclass

from benchapp.paths import runtime_folder
from drivers.dialect import load_dialect
from drivers.errors import AddressError, DialectError, InstrumentError
from drivers.lock import AddressLock
from drivers.plain import plain
from drivers.registry import make_link
from drivers.wires import check_address


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
        holder = AddressLock(address, runtime_folder()).holder()
        if holder is not None:  # a question in between could take the answer of another
            return Identified(role, fault=f"in use by {holder}: it is not asked")
        spoken = load_dialect(dialect, role)
        link = make_link(address, spoken)
        try:
            start = time.monotonic()
            identity = plain(link.identify(spoken.identify))
            return Identified(role, identity, time.monotonic() - start)
        finally:
            link.close()
    except (InstrumentError, AddressError, DialectError) as error:
        return Identified(role, fault=str(error))
