"""What a run is to those who look at it and order it: in this process, or in another."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from benchapp.bench.output import OutputSeen
from benchapp.events import Event, RunEnd
from benchapp.measure.snapshot import RunFacts, RunSnapshot
from benchapp.recipe import Recipe
from benchapp.result.statement import Statement
from benchapp.run.history import History


class Orders(Protocol):
    """What can be asked of a run, from any thread."""

    def pause(self) -> None:
        """Stop reading, current to zero, until `resume`."""

    def resume(self) -> None:
        """Go on after a pause."""

    def mark(self, text: str) -> None:
        """Note an event at this moment of the run."""

    def stop(self, why: str = ...) -> None:
        """End the run: output off, record closed."""


class RunSeen(Protocol):
    """One run; the members are those of `run.session.Session`, which is one."""

    @property
    def recipe(self) -> Recipe:
        """What is measured."""

    @property
    def logbook(self) -> Path:
        """Where it is written down."""

    @property
    def control(self) -> Orders:
        """Takes orders."""

    @property
    def history(self) -> History:
        """All that was read."""

    @property
    def events(self) -> Sequence[Event]:
        """What happened."""

    @property
    def facts(self) -> RunFacts | None:
        """The instruments, once they are set up."""

    @property
    def snapshot(self) -> RunSnapshot | None:
        """The run as it is; another object each time it changes."""

    @property
    def statement(self) -> Statement | None:
        """What stands for the run."""

    @property
    def statements(self) -> tuple[Statement, ...]:
        """Those of all parts."""

    @property
    def output(self) -> OutputSeen:
        """The output as it was read."""

    @property
    def run_id(self) -> int | None:
        """Its number in the logbook."""

    @property
    def ended(self) -> bool:
        """Whether nothing more comes."""

    @property
    def end(self) -> RunEnd | None:
        """How it ended."""

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; False where it has not come in time."""

    def wait_for_change(self, timeout_s: float) -> None:
        """Wait until something was published, or the time-out."""

    def output_is_shown(self, seen: OutputSeen) -> None:
        """Whoever shows the output has shown that."""
