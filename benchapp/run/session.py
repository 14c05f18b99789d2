"""One run wired: a thread that measures, a thread that writes down, and what has been written for all to see.

A batch goes from the sequencer to the writer; only after its transaction is on the disk does the writer publish the
batch's snapshot and readings. So whatever the window, the stream or the progress line show is in the record.
"""

from __future__ import annotations

import contextlib
import gc
import queue
import sys
import threading
import time
import traceback
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.analysis.budget import Budget
from benchapp.analysis.estimate import Estimate, Flag
from benchapp.analysis.traps.detect import with_traps
from benchapp.bench.bench import Bench, BenchPlan
from benchapp.bench.limits import HouseLimits
from benchapp.clock import Clock
from benchapp.errors import BenchError
from benchapp.events import EndReason, Event, RunEnd
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.store import RunHeader, RunWriter
from benchapp.measure.control import Control
from benchapp.measure.sequencer import Sequencer
from benchapp.measure.snapshot import Batch, RecordLost, RunFacts, RunSnapshot
from benchapp.recipe import Recipe, recipe_to_toml
from benchapp.result.budget import BudgetPlan, with_budget
from benchapp.result.decision import decide, decision_object
from benchapp.result.json_object import budget_rows, result_object
from benchapp.run.history import History
from benchapp.version import VERSION
from drivers.guardian import NoGuard, ProcessGuard
from drivers.registry import Transcript

_FIRST_LOOK = 30  # readings at which a live run is looked at for traps
_LOOKS_APART_S = 0.5
_CROSS_CHECKED_LIVE = 300
_LAST_LOOK = 100_000  # beyond, only its end is: a look would hold up the record


class Session:
    """One run. `control` takes orders from any thread; `snapshot` and `history` hold what is in the record.

    `known` is what is known beside the readings; it enters the estimate at the end of the run, and the record keeps
    the budget and the decision.
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
        transcript: Transcript | None = None,
        known: BudgetPlan | None = None,
    ) -> None:
        self.recipe = recipe
        self.plan = plan
        self.control = Control()
        self.history = History()
        self.events: list[Event] = []
        self.facts: RunFacts | None = None
        self.snapshot: RunSnapshot | None = None
        self.run_id: int | None = None
        self.logbook = logbook
        self._limits = limits
        self._clock = clock
        self._bench_note = bench_note
        self._transcript = transcript
        self.known = known or BudgetPlan(confidence=recipe.confidence)
        self.budget: Budget | None = None
        self._live_flags: tuple[Flag, ...] = ()
        self._next_look = _FIRST_LOOK
        self._no_look_before = 0.0
        self._batches: queue.SimpleQueue[Batch | None] = queue.SimpleQueue()
        self._lost: str = ""
        self._started = threading.Event()
        self._changed = threading.Condition()
        self._run_thread = threading.Thread(target=self._run, name="run")
        self._writer_thread = threading.Thread(target=self._write, name="record")
        self._start_error: BenchError | None = None
        self._end: RunEnd | None = None

    def start(self) -> None:
        """Check the limits, open the record, then start measuring. Raises LimitExceeded, LogbookError."""
        self._limits.check(self.recipe)
        # The threads hand over to each other often; at Python's default of 5 ms each would hold the others up.
        sys.setswitchinterval(0.0005)
        # What is there by now stays: the collector need not walk through all of it in the middle of a run.
        gc.collect()
        gc.freeze()
        self._writer_thread.start()
        self._started.wait()
        if self._start_error is not None:
            self._writer_thread.join()
            raise self._start_error
        self._run_thread.start()

    @property
    def ended(self) -> bool:
        """Whether the end has been written down and published."""
        return not self._writer_thread.is_alive() and not self._run_thread.is_alive()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; False where it has not come in time."""
        self._run_thread.join(timeout_s)
        if not self._run_thread.is_alive():
            self._writer_thread.join(timeout_s)
        return self.ended

    def wait_for_change(self, timeout_s: float) -> None:
        """Wait until something was published, or the time-out."""
        with self._changed:
            self._changed.wait(timeout_s)

    @property
    def end(self) -> RunEnd | None:
        """How the run ended; None before."""
        return self._end

    # The run thread.

    def _run(self) -> None:
        bench = Bench(self.plan, self._transcript)
        sequencer = Sequencer(
            bench,
            self.recipe,
            self._limits,
            clock=self._clock,
            control=self.control,
            publish=self._take,
            guard=NoGuard() if self.plan.in_process else ProcessGuard(),
        )
        try:
            self._end = sequencer.run()
        finally:
            self._batches.put(None)

    def _take(self, batch: Batch) -> None:
        # The end is told even where it can no longer be written down: the window must not go on showing a live output.
        if self._lost and batch.snapshot.end is None:
            raise RecordLost(self._lost)
        self._batches.put(batch)

    # The writer thread.

    def _write(self) -> None:
        try:
            writer = RunWriter(self.logbook, self._header())
        except BenchError as error:
            self._start_error = error
            return
        except Exception as error:  # noqa: BLE001  the outermost net of the writer: without a record nothing starts
            self._start_error = LogbookError(f"{self.logbook}: the record cannot be begun ({error!r})")
            return
        finally:
            self._started.set()
        self.run_id = writer.run_id
        with contextlib.closing(writer):
            while (batches := self._waiting()) is not None:
                self._store(writer, batches)
                self._publish(batches)
        self._notify()

    def _waiting(self) -> list[Batch] | None:
        """All batches that wait, at least one; None at the end."""
        first = self._batches.get()
        if first is None:
            return None
        batches = [first]
        with contextlib.suppress(queue.Empty):
            while (batch := self._batches.get_nowait()) is not None:
                batches.append(batch)
            self._batches.put(None)
        return batches

    def _store(self, writer: RunWriter, batches: list[Batch]) -> None:
        if self._lost:
            return
        try:
            batches[-1] = self._judged(batches)
            for batch in batches:
                if batch.facts is not None:
                    writer.facts(batch.facts.identities, batch.facts.settings)
            readings = [reading for batch in batches for reading in batch.readings]
            writer.append(readings, [event for batch in batches for event in batch.events])
            last = batches[-1].snapshot
            if last.end is not None:
                verdict = None if last.verdict is None else str(last.verdict)
                told = result_object({"run_id": writer.run_id}, last.estimate, verdict)
                writer.end(last.end, {**told, **self._beside(last.estimate)})
        except LogbookError as error:
            self._lost = str(error)
        except Exception:  # noqa: BLE001  the outermost net of the writer: the run must not go on unrecorded
            self._lost = f"the record failed, an internal error: {traceback.format_exc()}"

    def _judged(self, batches: list[Batch]) -> Batch:
        """The last batch with its flags. A fault in looking for traps is told as a flag: the readings come first."""
        last = batches[-1]
        try:
            return self._with_live_flags(batches) if last.snapshot.end is None else self._with_traps(batches)
        except (ArithmeticError, ValueError, IndexError, np.linalg.LinAlgError) as error:
            self._next_look = _LAST_LOOK + 1
            flag = Flag("not-checked", "warning", f"The readings could not be checked for faults ({error!r}).")
            estimate = replace(last.snapshot.estimate, flags=(*last.snapshot.estimate.flags, flag))
            return replace(last, snapshot=replace(last.snapshot, estimate=estimate))

    def _flagged(self, batches: list[Batch]) -> Estimate:
        """The estimate of the last batch with the traps of all readings up to it."""
        readings = [reading[1:] for batch in batches for reading in batch.readings]
        blocks = [block for batch in batches for block in batch.blocks]
        columns = np.hstack([self.history.readings.since(0), np.array(readings, dtype=float).reshape(-1, 3).T])
        rows = np.hstack([self.history.blocks.since(0), np.array(blocks, dtype=float).reshape(-1, 6).T])
        # While the run goes on a long second estimate would hold up the thread that measures.
        limit = _CROSS_CHECKED_LIVE if batches[-1].snapshot.end is None else None
        return with_traps(batches[-1].snapshot.estimate, columns[0], columns[1], columns[2], rows, cross_checked=limit)

    def _with_live_flags(self, batches: list[Batch]) -> Batch:
        """The last batch with the traps seen so far; they are looked for again when the run is half as long again."""
        last = batches[-1]
        count = last.snapshot.readings
        began = time.monotonic()
        if self._next_look <= count <= _LAST_LOOK and began >= self._no_look_before:
            self._next_look = round(1.5 * count)
            flagged = self._flagged(batches)
            self._live_flags = tuple(f for f in flagged.flags if f not in last.snapshot.estimate.flags)
            # At most a fortieth of this thread's time: a look takes the interpreter from the one that measures.
            now = time.monotonic()
            self._no_look_before = now + max(_LOOKS_APART_S, 40 * (now - began))
        if not self._live_flags:
            return last
        estimate = last.snapshot.estimate
        flagged = replace(estimate, flags=(*estimate.flags, *self._live_flags))
        return replace(last, snapshot=replace(last.snapshot, estimate=flagged))

    def _with_traps(self, batches: list[Batch]) -> Batch:
        """The last batch with the whole run's estimate: traps among its flags, its budget in its interval."""
        last = batches[-1]
        estimate = self._flagged(batches)
        end = last.snapshot.end
        if end is not None and end.reason is EndReason.COMPLIANCE:
            estimate = replace(estimate, flags=(*estimate.flags, Flag("compliance", "stop", end.text)))
        if estimate.blocks:
            estimate = self._stated(estimate)
        verdict = self.recipe.judge(estimate)
        return replace(last, snapshot=replace(last.snapshot, estimate=estimate, verdict=verdict))

    def _beside(self, estimate: Estimate) -> dict[str, Any]:
        """What the record keeps beside the result."""
        r = self.recipe
        decision = decide(estimate, r.low_ohm, r.high_ohm, r.rule, r.guard_band)
        return {"budget": budget_rows(self.budget), "decision": decision_object(decision)}

    def _stated(self, estimate: Estimate) -> Estimate:
        if not estimate.standard_uncertainty_ohm > 0:
            return estimate
        finished, self.budget = with_budget(estimate, self.recipe.current_A, self.known)
        return finished

    def _publish(self, batches: list[Batch]) -> None:
        if self._lost and batches[-1].snapshot.end is None:
            return
        for batch in batches:
            if not self._lost:
                self.history.extend(batch.readings, batch.blocks)
                self.events.extend(batch.events)
            self.facts = batch.facts or self.facts
        self.snapshot = batches[-1].snapshot
        self._notify()

    def _notify(self) -> None:
        with self._changed:
            self._changed.notify_all()

    def _header(self) -> RunHeader:
        plan = self.plan
        bench = {
            "source": plan.source,
            "voltmeter": plan.voltmeter,
            "source_dialect": plan.source_dialect.id,
            "voltmeter_dialect": plan.voltmeter_dialect.id,
            "note": self._bench_note,
        }
        return RunHeader(VERSION, recipe_to_toml(self.recipe), bench)
