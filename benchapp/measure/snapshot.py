"""What leaves the sequencer: batches for the record, each with the state of the run that belongs to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from benchapp.analysis.decision import Verdict
from benchapp.analysis.estimate import ClosedBlock, Estimate
from benchapp.events import Event, Reading, RunEnd, RunStatus
from drivers.instrument import Setting


class RecordLost(Exception):
    """The record can no longer be kept; the run must end."""


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What is known once the instruments are set up."""

    identities: dict[str, str]
    settings: list[tuple[str, Setting]]
    notices: list[str]


@dataclass(frozen=True, slots=True)
class RunSnapshot:
    """The run after a batch; `readings` and `blocks` count what has been handed over up to it.

    `power_W` is what stays in the specimen at the test current. `blocks_expected` and `time_to_go_s` look ahead to the
    stop rule's end; None and NaN where it has none.
    """

    status: RunStatus
    time_s: float
    estimate: Estimate
    verdict: Verdict | None
    readings: int
    blocks: int
    output_on: bool
    power_W: float = math.nan
    blocks_expected: int | None = None
    time_to_go_s: float = math.nan
    last_fault: str = ""
    end: RunEnd | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings, blocks and events since the last batch, and the snapshot that counts once they are stored."""

    snapshot: RunSnapshot
    readings: list[Reading] = field(default_factory=list)
    blocks: list[ClosedBlock] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    facts: RunFacts | None = None
