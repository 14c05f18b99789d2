"""What can go wrong between us and an instrument; each message ends in what to try.

InstrumentError
    LinkError          the wire
        LinkRefused    nobody answers at the address
        LinkTimeout    an answer that did not come
        LinkClosed     the instrument hung up
    ReplyError         an answer that is not what was asked for
    ReportedError      the instrument's own error queue
    SettingError       a setting that was accepted but reads back otherwise
AddressError           an address that is none
DialectError           a dialect file that cannot be used
"""

from __future__ import annotations

from drivers.plain import plain

_LONGEST_SHOWN = 120


class InstrumentError(Exception):
    """Root; `resource` is the address, `command` what was being done."""

    def __init__(self, problem: str, *, resource: str, command: str = "", remedy: str = "") -> None:
        shown = command if len(command) <= _LONGEST_SHOWN else command[:_LONGEST_SHOWN] + " ..."
        doing = f" at {shown!r}" if command else ""
        super().__init__(plain(f"{resource}: {problem}{doing}{'. ' + remedy if remedy else ''}"))
        self.problem = problem
        self.remedy = remedy
        self.resource = resource
        self.command = command


class LinkError(InstrumentError):
    """The wire."""


class LinkRefused(LinkError):
    """Nobody answers at the address."""


class LinkTimeout(LinkError):
    """An answer did not come in time."""


class LinkClosed(LinkError):
    """The instrument hung up."""


class ReplyError(InstrumentError):
    """An answer that cannot be read."""


class ReportedError(InstrumentError):
    """An entry of the instrument's error queue; `code` as reported."""

    def __init__(self, code: int, text: str, *, resource: str, command: str = "") -> None:
        remedy = "The instrument refuses this; correct the value, or name a dialect that spells it otherwise."
        super().__init__(f"the instrument reports {code} {text}", resource=resource, command=command, remedy=remedy)
        self.code = code
        self.text = text


class SettingError(InstrumentError):
    """A setting reads back as something else."""


class AddressError(ValueError):
    """No VISA resource string."""


class DialectError(ValueError):
    """A dialect file that cannot be used: file, key, value, remedy in the message."""
