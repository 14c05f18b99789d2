"""One run wired: a thread that measures, one that writes down, one that states the result so far; and what all see."""

from __future__ import annotations

import gc
import os
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchapp.bench.bench import Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.output import OutputSeen, OutputState
from benchapp.bench.plan import BenchPlan
from benchapp.clock import Clock
from benchapp.events import EndReason, Event, RunEnd
from benchapp.logbook.store import RunHeader
from benchapp.measure.control import Control
from benchapp.measure.sequencer import Sequencer
from benchapp.measure.snapshot import Batch, RunFacts, RunSnapshot
from benchapp.recipe import Recipe, recipe_to_toml
from benchapp.result.budget import BudgetPlan
from benchapp.result.material import Geometry
from benchapp.result.statement import Statement, Terms
from benchapp.run.history import History
from benchapp.run.recorder import Recorder
from benchapp.run.stating import headline, state_run
from benchapp.run.terms import terms_of
from benchapp.run.watcher import Watcher
from benchapp.version import VERSION
from drivers.guardian import NoGuard, ProcessGuard
from drivers.plain import plain
from drivers.registry import Transcript

_SHOWN_WITHIN_S = 0.5  # a window that stands still longer holds up no order


class Session:
    """One run. `control` takes orders from any thread; `snapshot` and `history` hold what is in the record; `output` is
    the source's output as it was last read, whatever the record is doing.

    `statement` is what stands for the run so far, or at its end; `statements` are those of all parts, where a scanner
    connects several.

    `known` is what is known beside the readings; it enters every statement. `study` is written down with the run: of
    which study it is a step.
    """

    def __init__(
        self,
        plan: BenchPlan,
        recipe: Recipe,
        limits: HouseLimits,
        *,
        clock: Clock,
        logbook: Path,
        bench_note: str = "",
        operator: str = "",
        transcript: Transcript | None = None,
        known: BudgetPlan | None = None,
        geometry: Geometry | None = None,
        study: str = "",
    ) -> None:
        self.recipe = recipe
        self.plan = plan
        self.logbook = logbook
        self.control = Control()
        self.history = History()
        self.events: list[Event] = []
        self.facts: RunFacts | None = None
        self.snapshot: RunSnapshot | None = None
        self.statement: Statement | None = None
        self.statements: tuple[Statement, ...] = ()
        self.output = OutputSeen.now(OutputState.UNKNOWN)
        self._output_watched = False
        self._output_shown = threading.Event()
        self._known = known or BudgetPlan(confidence=recipe.confidence)
        self._geometry = geometry
        self._limits, self._clock, self._transcript = limits, clock, transcript
        self._temperatures: np.ndarray | None = None  # of the whole run, once it has ended
        self._changed = threading.Condition()
        self._end: RunEnd | None = None
        header = RunHeader(VERSION, recipe_to_toml(recipe), _described(plan, bench_note, operator, study))
        self._recorder = Recorder(logbook, header, publish=self._publish, conclude=self._conclude)
        self._watcher = Watcher(recipe, self._terms, self.history, self.events, self._show)
        self._run_thread = threading.Thread(target=self._run, name="run")

    def start(self) -> None:
        """Check the limits, open the record, then start measuring. Raises LimitExceeded, LogbookError."""
        self._limits.check(self.recipe)
        self._recorder.start()
        self._watcher.start()
        self._run_thread.start()

    @property
    def run_id(self) -> int | None:
        """The run's number in the logbook; None before it has begun."""
        return self._recorder.run_id

    @property
    def ended(self) -> bool:
        """Whether the end has been written down and published."""
        return not self._recorder.alive and not self._run_thread.is_alive()

    @property
    def end(self) -> RunEnd | None:
        """How the run ended, a record that failed in the last moment included; None before."""
        if self._end is not None and self._recorder.lost and self._end.exit_status == 0:
            return replace(self._end, reason=EndReason.RECORD, text=self._recorder.lost)
        return self._end

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; False where it has not come in time."""
        self._run_thread.join(timeout_s)
        if not self._run_thread.is_alive():
            self._recorder.join(timeout_s)
        return self.ended

    def wait_for_change(self, timeout_s: float) -> None:
        """Wait until something was published, or the time-out."""
        with self._changed:
            self._changed.wait(timeout_s)

    def output_is_shown(self, seen: OutputSeen) -> None:
        """Whoever shows the output has shown that; until then "off" would stand there while it goes on."""
        self._output_watched = True
        if seen.at_s == self.output.at_s:
            self._output_shown.set()

    def _see_output(self, state: OutputState) -> None:
        self._output_shown.clear()
        self.output = OutputSeen.now(state)
        with self._changed:
            self._changed.notify_all()
        if state is OutputState.UNKNOWN and self._output_watched:
            self._output_shown.wait(_SHOWN_WITHIN_S)

    def _run(self) -> None:
        sequencer = Sequencer(
            Bench(replace(self.plan, holder=self.plan.holder or self._holder()), self._transcript),
            self.recipe,
            self._limits,
            clock=self._clock,
            control=self.control,
            publish=self._recorder.take,
            guard=NoGuard() if self.plan.in_process else ProcessGuard(),
            known=self._known,
            seen=self._see_output,
        )
        try:
            self._end = sequencer.run()
        finally:
            self._recorder.close()

    # Called by the threads that write and that watch.

    def _publish(self, batches: list[Batch], stated: tuple[Statement, ...]) -> None:
        for batch in batches:
            if not self._recorder.lost:
                self.events.extend(batch.events)
                self.history.extend(batch.readings, batch.blocks, batch.cuts, batch.temperatures)
            self.facts = batch.facts or self.facts
        if batches[-1].snapshot.end is not None:
            self._watcher.stop()
        with self._changed:
            ended = batches[-1].snapshot.end is not None
            # What was stated so far is no statement of the run: where the end cannot be stated, nothing is.
            if ended:
                self.statements = stated
                self.statement = headline(stated) if stated else None
            self.snapshot = replace(batches[-1].snapshot, statement=self.statement)
            self._changed.notify_all()

    def _show(self, stated: tuple[Statement, ...]) -> None:
        with self._changed:
            self.statements = stated
            part = "" if self.snapshot is None else self.snapshot.part
            self.statement = headline(stated, part)
            if self.snapshot is not None:
                self.snapshot = replace(self.snapshot, statement=self.statement)
            self._changed.notify_all()

    def _conclude(self, batches: list[Batch]) -> tuple[Statement, ...]:
        """What is stated of the whole run, as a replay of its record makes it."""
        last = [reading[1:] for batch in batches for reading in batch.readings]
        columns = np.hstack([self.history.readings.since(0), np.array(last, dtype=float).reshape(-1, 3).T])
        events = [*self.events, *(event for batch in batches for event in batch.events)]
        self.facts = next((batch.facts for batch in batches if batch.facts is not None), self.facts)
        told = [found for batch in batches for found in batch.temperatures]
        temperatures = np.hstack([self.history.temperatures.since(0), np.array(told, dtype=float).reshape(-1, 2).T])
        self._temperatures = temperatures
        end = batches[-1].snapshot.end
        if end is not None and self._recorder.lost:
            end = replace(end, reason=EndReason.RECORD, text=self._recorder.lost)
        return state_run(self.recipe, columns, events, temperatures, self._terms(), end)

    def _holder(self) -> str:
        name = f" of {self.recipe.name}" if self.recipe.name else ""
        return f"run {self.run_id}{name} (process {os.getpid()}, since {time.strftime('%H:%M:%S')})"

    def _terms(self) -> Terms:
        facts = self.facts
        known = self._known if facts is None else facts.in_use(self._known)
        tells = facts is not None and facts.tells_compliance
        told = self.history.temperatures.since(0) if self._temperatures is None else self._temperatures
        settings = () if facts is None else facts.settings
        return terms_of(
            self.recipe, known, self._geometry, tells_compliance=tells, temperatures=told, settings=settings
        )


def prepare_process() -> None:
    """For the process that hosts runs: threads hand over quickly, the collector leaves alone what is there by now."""
    sys.setswitchinterval(0.0005)
    gc.collect()
    gc.freeze()


def _described(plan: BenchPlan, note: str, operator: str, study: str) -> dict[str, str]:
    bench = {
        "source": plan.source,
        "voltmeter": plan.voltmeter,
        "source_dialect": "" if plan.source_dialect is None else plan.source_dialect.id,
        "voltmeter_dialect": "" if plan.voltmeter_dialect is None else plan.voltmeter_dialect.id,
        "note": note,
    }
    if study:
        bench["study"] = study
    if plan.thermometer:
        bench["thermometer"] = plan.thermometer
    if plan.scanner:
        bench["scanner"] = plan.scanner
    if plan.current_voltmeter:
        second = plan.current_voltmeter_dialect
        bench |= {
            "current_voltmeter": plan.current_voltmeter,
            "current_voltmeter_dialect": "" if second is None else second.id,
        }
    return {**bench, "operator": plain(operator)} if operator else bench
