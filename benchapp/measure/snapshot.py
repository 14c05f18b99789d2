"""What leaves the sequencer: batches for the record, each with the state of the run that belongs to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from benchapp.analysis.running_blocks import ClosedBlock
from benchapp.events import Event, Reading, RunEnd, RunStatus, Temperature
from benchapp.result.budget import BudgetPlan
from benchapp.result.statement import Statement
from drivers.instrument import Setting


class RecordLost(Exception):
    """The record can no longer be kept; the run must end."""


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What is known once the instruments are set up; the ranges as they were read back, None where not known."""

    identities: dict[str, str]
    settings: list[tuple[str, Setting]]
    notices: list[str]
    tells_compliance: bool = False
    range_V: float | None = None
    source_range_A: float | None = None
    current_range_V: float | None = None

    def in_use(self, known: BudgetPlan) -> BudgetPlan:
        """What is known, with the ranges in use."""
        return replace(
            known, range_V=self.range_V, source_range_A=self.source_range_A, current_range_V=self.current_range_V
        )


@dataclass(frozen=True, slots=True)
class RunSnapshot:
    """The run after a batch; `readings` and `blocks` count what has been handed over up to it.

    `part` is the one that is connected, of several on a scanner.

    `pending` counts the readings of a pass under way, which is not believed before it is whole. `blocks_expected` and
    `time_to_go_s` look ahead to the stop rule's end; None and NaN where it has none. The
    sequencer leaves `statement` out: it is made apart, from what has been written down.
    """

    status: RunStatus
    time_s: float
    readings: int
    blocks: int
    output_on: bool
    blocks_expected: int | None = None
    time_to_go_s: float = math.nan
    last_fault: str = ""
    end: RunEnd | None = None
    statement: Statement | None = None
    pending: int = 0
    part: str = ""


@dataclass(frozen=True, slots=True)
class Batch:
    """What there is since the last batch, and the snapshot that counts once it is stored."""

    snapshot: RunSnapshot
    readings: list[Reading] = field(default_factory=list)
    blocks: list[ClosedBlock] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    cuts: list[int] = field(default_factory=list)
    facts: RunFacts | None = None
    temperatures: list[Temperature] = field(default_factory=list)
