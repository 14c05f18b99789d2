"""Every fault of an instrument at every message of a run, over four kinds of links, in virtual time.

python -m tests.faults.matrix [CELLS]

What must hold: the output is off, or the program says that it is not proved off; all that was shown is recorded, and
the run has its end; it ends within a bound; the message names the instrument and what to try.
"""

from __future__ import annotations

import functools
import itertools
import os
import random
import sys
import tempfile
import time
from pathlib import Path

from benchapp.bench.bench import Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import BenchPlan
from benchapp.events import EndReason, RunEnd
from benchapp.logbook.query import load_run
from benchapp.logbook.replay import analyse_by
from benchapp.logbook.store import RunHeader
from benchapp.measure.control import Control
from benchapp.measure.sequencer import Sequencer
from benchapp.measure.snapshot import Batch
from benchapp.recipe import StopRule, recipe_to_toml
from benchapp.result.budget import BudgetPlan
from benchapp.result.statement import Statement, make_statement
from benchapp.run.recorder import Recorder
from benchapp.run.terms import circumstances_of, terms_of
from benchapp.version import VERSION
from drivers.dialect import load_dialect
from drivers.guardian import NoGuard
from drivers.wires import open_wire
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.scenario import load_scenario
from tests.benchapp.simulated import recipe_of
from tests.faults.virtual import TRANSPORTS, Line, virtual_links
from tests.trials import Result, run_trial

ROLES = ("source", "voltmeter")
KINDS = (
    "mute", "mute once", "stalls", "drops one", "refuses", "hangs up", "hangs up for good", "loses settings", "garbage",
    "no ASCII", "cut short", "not a number", "huge", "another's", "empty", "twice", "long", "endless", "byte by byte",
    "late", "too late", "error",
)  # fmt: skip
# An instrument that does not act cannot be switched off from here: then it is said.
_CANNOT_BE_OFF = {"stalls", "hangs up for good"}
_BLOCKS = 5
_BOUND_S = 60.0  # of bench time, from the fault to the end; a time-out is 2 s, and an end asks several things
_HANG_S = 5.0  # of real time, for all of it


class Cell:
    """One run with one fault; `end`, `lines` and so on say what became of it."""

    def __init__(self, transport: str, role: str, kind: str, at: int, folder: Path) -> None:
        self.what = f"{transport}, {role}: {kind} at message {at}"
        self._scenario = load_scenario("shunt")
        clock = VirtualClock()
        self.sim = SimulatedBench(self._scenario, clock, 1)
        struck = (kind, at)
        devices = {"source": self.sim.source, "voltmeter": self.sim.voltmeter}
        self.lines = {r: Line(device, clock, *(struck if r == role else ())) for r, device in devices.items()}  # type: ignore[arg-type]
        self.addresses = {r: TRANSPORTS[transport].format(k) for k, r in enumerate(ROLES, 1)}
        self.recipe = recipe_of(self._scenario, stop=StopRule(_BLOCKS))
        by_address = {self.addresses[r]: line for r, line in self.lines.items()}
        started = time.monotonic()
        with virtual_links(clock, by_address, transport):
            self.end = self._run(clock, folder)
        self.took_s = time.monotonic() - started
        self.after_fault_s = clock.now() - self.lines[role].struck_s

    def _run(self, clock: VirtualClock, folder: Path) -> RunEnd:
        address = self.addresses
        plan = BenchPlan(
            address["source"],
            address["voltmeter"],
            load_dialect("scpi", "source"),
            load_dialect("scpi", "voltmeter"),
            functools.partial(open_wire, address["source"]),
            functools.partial(open_wire, address["voltmeter"]),
        )
        logbook = folder / "log.sqlite"
        seen: list[Batch] = []
        self._taken: list[Batch] = []
        header = RunHeader(VERSION, recipe_to_toml(self.recipe), {})
        recorder = Recorder(logbook, header, publish=lambda batches, _: seen.extend(batches), conclude=self._conclude)
        recorder.start()

        def take(batch: Batch) -> None:
            self._taken.append(batch)
            recorder.take(batch)

        try:
            end = Sequencer(
                Bench(plan),
                self.recipe,
                HouseLimits(),
                clock=clock,
                control=Control(),
                publish=take,
                guard=NoGuard(),
                real_time=clock.now,
            ).run()
        finally:
            recorder.close()
            recorder.join()
        assert recorder.run_id is not None
        record = load_run(logbook, recorder.run_id)
        self.shown = sum(len(batch.readings) for batch in seen)
        self.recorded = len(record.readings.time_s)
        self.concluded = bool(record.summary.ended)
        return end

    def _conclude(self, _: list[Batch]) -> tuple[Statement, ...]:
        readings = [reading for batch in self._taken for reading in batch.readings]
        t, I, V = ([reading[k] for reading in readings] for k in (1, 2, 3))
        estimate, _blocks = analyse_by(self.recipe, t, I, V, [])  # type: ignore[arg-type]
        terms = terms_of(self.recipe, BudgetPlan(confidence=self.recipe.confidence))
        events = [event for batch in self._taken for event in batch.events]
        return (make_statement(estimate, I, terms, circumstances_of(events, self._taken[-1].snapshot.end)),)

    def broken(self, role: str, kind: str) -> str:
        """The promise that was not kept; empty where all were."""
        on, end = self.sim.source.output_on, self.end
        if on and end.output_off:
            return "SAID OFF, IS ON"
        if on and not (role == "source" and kind in _CANNOT_BE_OFF):
            return "left on"
        if self.recorded != self.shown or not self.concluded:
            return f"record: {self.recorded} of {self.shown}, {'ended' if self.concluded else 'without an end'}"
        if end.reason is EndReason.BUG:
            return f"internal error: {end.text[-300:]}"
        if self.after_fault_s > _BOUND_S:
            return f"{self.after_fault_s:.0f} s of bench time to the end"
        if self.took_s > _HANG_S:
            return f"{self.took_s:.1f} s to the end"
        if end.reason is EndReason.INSTRUMENT and not (self.addresses[role] in end.text and ". " in end.text):
            return f"a message without instrument or remedy: {end.text}"
        return ""


def messages(folder: Path) -> dict[str, int]:
    """How many messages each instrument gets in a run without faults."""
    cell = Cell("socket", "source", "", 0, folder)
    assert cell.end.reason is EndReason.RULE, cell.end
    return {role: line.count for role, line in cell.lines.items()}


def plan(counts: dict[str, int]) -> list[tuple[str, str, str, int]]:
    """All cells, in an order drawn once, so that a part of them is spread over all."""
    cells = [
        (transport, role, kind, at)
        for transport, role, kind in itertools.product(TRANSPORTS, ROLES, KINDS)
        for at in range(1, counts[role] + 1)
    ]
    random.Random(22).shuffle(cells)
    return cells


def main() -> int:
    """Print what held."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ |= {f"BENCHAPP_{which}": name for which in ("CONFIG", "DATA", "RUNTIME")}
        cells = plan(messages(folder))
        wanted = min(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000, len(cells))

        def case(number: int) -> Result:
            transport, role, kind, at = cells[number]
            (folder / "log.sqlite").unlink(missing_ok=True)
            cell = Cell(transport, role, kind, at, folder)
            result = {"transport": transport, "role": role, "kind": kind, "at": at, "broken": cell.broken(role, kind)}
            return result | {"end": str(cell.end.reason), "after_s": cell.after_fault_s}

        results = run_trial("fault-matrix", wanted, case, at_once=100)
    print(
        f"{'':<20}" + "".join(f"{t + ' ' + r[0]:>12}" for t in TRANSPORTS for r in ROLES) + "   (held of tried; s, v)"
    )
    for kind in KINDS:
        row = f"{kind:<20}"
        for transport, role in itertools.product(TRANSPORTS, ROLES):
            here = [r for r in results if (r["transport"], r["role"], r["kind"]) == (transport, role, kind)]
            held = sum(not r["broken"] for r in here)
            row += f"{f'{held} of {len(here)}':>12}"
        print(row)
    bad = [r for r in results if r["broken"]]
    for result in bad[:20]:
        print(f"{result['transport']}, {result['role']}, {result['kind']} at {result['at']}: {result['broken']}")
    longest = max((r["after_s"] for r in results if r["after_s"] > 0), default=0.0)
    went_on = sum(r["end"] == str(EndReason.RULE) for r in results)
    print(
        f"{len(results)} of {len(cells)} cells: all promises held in {len(results) - len(bad)}; {went_on} runs went on"
        f" to their end; longest from fault to end {longest:.1f} s of bench time"
    )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
