"""Outside a run: read a source's output, and switch it off, whoever switched it on."""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.bench import armed
from benchapp.bench.output import FRESH_S, OutputSeen, OutputState, state_of
from benchapp.paths import runtime_folder
from drivers.dialect import Dialect
from drivers.errors import InstrumentError
from drivers.lock import AddressLock
from drivers.plain import plain
from drivers.registry import Transcript, make_source
from drivers.scpi_source import ScpiSource


@dataclass(frozen=True, slots=True)
class SwitchedOff:
    """What became of an order to switch off: whether the output is on after it, as read; None where it was not."""

    address: str
    identity: str
    on: bool | None
    fault: str = ""
    holder: str = ""

    @property
    def in_words(self) -> str:
        """One sentence for the operator."""
        who = f"{self.address} ({self.identity})" if self.identity else self.address
        held = f"; it is in use by {self.holder}" if self.holder else ""
        if self.on is False:
            return f"{who}: the output reads off{held}"
        state = "STILL READS ON" if self.on else "COULD NOT BE READ"
        why = f" ({self.fault.rstrip('.')})" if self.fault else ""
        return f"{who}: the output {state}{why}: switch the source off by hand{held}"


def switch_off(address: str, dialect: Dialect, transcript: Transcript | None = None) -> SwitchedOff:
    """Send the safe sequence on a connection of its own and read back. Never raises for what an instrument does.

    It asks for no lock: OFF always acts.
    """
    holder = AddressLock(address, runtime_folder()).holder() or ""
    identity, fault, on = "", "", None
    try:
        source = make_source(address, dialect, transcript=transcript)
    except InstrumentError as error:
        return SwitchedOff(address, "", None, error.problem, holder)
    try:
        source.order_off()  # first of all; what else there is to ask comes later
        try:
            identity = plain(source.link.identify(dialect.identify))
        except InstrumentError as error:
            fault = error.problem
        if source.safe():
            if not holder:
                armed.clear(address)
            return SwitchedOff(address, identity, False, "", holder)
        on = source.read_output()
    except InstrumentError as error:
        fault = fault or error.problem
    finally:
        source.close()
    return SwitchedOff(address, identity, on, fault, holder)


def read_output(address: str, dialect: Dialect) -> OutputSeen:
    """One look at an output; nothing is set. Never raises for what an instrument does."""
    reader = OutputReader(address, dialect)
    try:
        return reader.read()
    finally:
        reader.close()


class OutputReader:
    """Reads an output again and again over a connection of its own; sets nothing. For one thread."""

    def __init__(self, address: str, dialect: Dialect) -> None:
        self._address, self._dialect = address, dialect
        self._source: ScpiSource | None = None

    def read(self) -> OutputSeen:
        """The output now; not known where it does not answer, or another program has the instrument."""
        holder = AddressLock(self._address, runtime_folder()).holder()
        if holder is not None:
            self.close()
            return OutputSeen.now(OutputState.UNKNOWN, f"in use by {holder}")
        try:
            if self._source is None:
                self._source = make_source(self._address, self._dialect)
                self._source.link.timeout_s = min(self._source.link.timeout_s, FRESH_S / 2)
                self._source.link.identify(self._dialect.identify)
            return OutputSeen.now(state_of(self._source.read_output()))
        except InstrumentError as error:
            self.close()
            return OutputSeen.now(OutputState.UNKNOWN, error.problem)

    def close(self) -> None:
        """Hang up."""
        if self._source is not None:
            self._source.close()
            self._source = None
