"""What a run says: readings, rare events, and how it ended. Beneath measure and logbook alike."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class Reading(NamedTuple):
    """Reading `number` of a run, from 0; `time_s` counts from output on and is the middle of the reading."""

    number: int
    time_s: float
    current_A: float
    voltage_V: float


class EventKind(StrEnum):
    """What happened."""

    STATE = "state"
    PAUSE = "pause"
    MARK = "mark"
    NOTICE = "notice"
    COMPLAINT = "complaint"  # an instrument's own error in the middle of a run; the text begins with its role
    UNSETTLED = "unsettled"  # before the run each sign was held, and the voltage still moved
    FAULT = "fault"
    PART = "part"  # another part is connected, by a scanner; the text is its name


@dataclass(frozen=True, slots=True)
class Event:
    """A rare happening. `reading` is the index of the next reading: a pause stands before it."""

    time_s: float
    reading: int
    kind: EventKind
    text: str


class Temperature(NamedTuple):
    """The specimen's temperature as a thermometer told it."""

    time_s: float
    celsius: float


class RunStatus(StrEnum):
    """States of a run."""

    IDLE = "idle"
    CHECKING = "checking"
    SETTLING = "settling"
    RUNNING = "running"
    PAUSED = "paused"
    DONE = "done"
    STOPPED = "stopped"

    @property
    def ended(self) -> bool:
        """Whether nothing more comes."""
        return self in (RunStatus.DONE, RunStatus.STOPPED)


class EndReason(StrEnum):
    """Why a run ended."""

    RULE = "completed"
    OPERATOR = "operator"
    UNREACHABLE = "target cannot be reached"
    OVERLOAD = "overload"
    COMPLIANCE = "compliance reached"
    LIMIT = "house limit"
    INSTRUMENT = "instrument trouble"
    RECORD = "record cannot be kept"
    BUG = "internal error"


_EXIT = {
    EndReason.OVERLOAD: 4,
    EndReason.COMPLIANCE: 4,
    EndReason.LIMIT: 4,
    EndReason.RECORD: 4,
    EndReason.INSTRUMENT: 3,
    EndReason.BUG: 4,
}


@dataclass(frozen=True, slots=True)
class RunEnd:
    """How a run ended. `output_off` is True where the source proved it."""

    reason: EndReason
    text: str
    output_off: bool

    @property
    def exit_status(self) -> int:
        """The command line's, as far as the end decides it; 0 where the result does."""
        return _EXIT.get(self.reason, 0) if self.output_off else 3
