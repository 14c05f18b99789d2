"""Every fault of an instrument in every phase of a run: output off, record complete, message that helps.

python -m tests.faults.matrix        prints the matrix; some minutes
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from benchapp.bench.bench import plan_bench
from benchapp.bench.limits import HouseLimits
from benchapp.clock import ScaledClock
from benchapp.events import EndReason
from benchapp.logbook.query import load_run
from benchapp.recipe import StopRule
from benchapp.run.session import Session
from sim.bench import SimulatedBench
from sim.clock import ScaledClock as SimulatedClock
from sim.scenario import Scenario, load_scenario
from sim.server import BenchServer
from sim.world.config import Faults
from tests.benchapp.simulated import recipe_of

SPEED = 20.0
PHASES = ("identify", "set up", "switch on", "first reading", "mid-run", "last reading")
KINDS = ("mute", "hangs up", "garbage", "late", "twice", "error")
# Harmless ones the run may go on after: a late answer that came in time, an answer that was told twice and dropped, an
# error in the queue that is told as a notice.
MAY_GO_ON = {"late", "twice", "error"}
_BLOCKS = 12


@dataclass(frozen=True, slots=True)
class Outcome:
    """One cell: how the run ended and whether the promises held."""

    reason: EndReason
    text: str
    output_off: bool
    record_complete: bool
    message_helps: bool

    @property
    def held(self) -> bool:
        """All promises."""
        return self.output_off and self.record_complete and self.message_helps


def faults(kind: str, message: int) -> Faults:
    """That fault at that message of the instrument."""
    if kind == "mute":
        return Faults(mute_after=max(1, message - 1))
    if kind == "hangs up":
        return Faults(drop_after=max(1, message - 1))
    key = {"garbage": "garbage_at", "late": "late_at", "twice": "twice_at", "error": "error_at"}[kind]
    return Faults(late_s=4.0 * SPEED, **{key: message})


@contextlib.contextmanager
def _session(scenario: Scenario, folder: Path) -> Iterator[tuple[SimulatedBench, Session, list[tuple[str, str]]]]:
    sent: list[tuple[str, str]] = []
    bench = SimulatedBench(scenario, SimulatedClock(SPEED))
    with BenchServer(bench) as server:
        roles = {server.source: "source", server.voltmeter: "voltmeter"}

        def note(resource: str, way: str, message: str) -> None:
            if way == ">":
                sent.append((roles[resource], message))

        session = Session(
            plan_bench(server.source, server.voltmeter, in_process=True),
            recipe_of(scenario, stop=StopRule(_BLOCKS)),
            HouseLimits(),
            clock=ScaledClock(SPEED),
            logbook=folder / "log.sqlite",
            transcript=note,
        )
        session.start()
        session.wait(60)
        yield bench, session, sent


def phases(folder: Path) -> dict[tuple[str, str], int]:
    """The number of the message, by role and phase, in a run without faults."""
    with _session(load_scenario("shunt"), folder) as (_, _, sent):
        by_role = {role: [m for r, m in sent if r == role] for role in ("source", "voltmeter")}
    source, voltmeter = by_role["source"], by_role["voltmeter"]
    on = next(k for k, m in enumerate(source) if m.upper().endswith("OUTP ON")) + 1
    steps = [k + 1 for k, m in enumerate(source) if m.startswith(":SOUR:CURR ") and ";" in m]
    reads = [k + 1 for k, m in enumerate(voltmeter) if m == ":READ?"]
    return {
        ("source", "identify"): source.index("*IDN?") + 1,
        ("source", "set up"): on - 4,
        ("source", "switch on"): on + 1,
        ("source", "first reading"): steps[1],
        ("source", "mid-run"): steps[len(steps) // 2],
        ("source", "last reading"): steps[-2],
        ("voltmeter", "identify"): voltmeter.index("*IDN?") + 1,
        ("voltmeter", "set up"): reads[0] - 3,  # a message that is answered
        ("voltmeter", "switch on"): reads[0],
        ("voltmeter", "first reading"): reads[1],
        ("voltmeter", "mid-run"): reads[len(reads) // 2],
        ("voltmeter", "last reading"): reads[-1],
    }


def cell(role: str, kind: str, phase: str, message: int, folder: Path) -> Outcome:
    """One run with one fault."""
    shunt = load_scenario("shunt")
    fault = faults(kind, message)
    scenario = replace(shunt, source_faults=fault) if role == "source" else replace(shunt, voltmeter_faults=fault)
    with _session(scenario, folder) as (bench, session, _):
        end = session.end
        assert end is not None
        off = not bench.source.output_on
        address = session.plan.source if role == "source" else session.plan.voltmeter
        assert session.run_id is not None
        recorded = load_run(folder / "log.sqlite", session.run_id)
        seen = session.history.readings.count
    complete = len(recorded.readings.time_s) == seen and recorded.summary.ended != ""
    failed = end.reason is EndReason.INSTRUMENT
    helps = (
        (address in end.text and ". " in end.text and " at '" in end.text)
        if failed
        else kind in MAY_GO_ON or phase == PHASES[-1]
    )
    return Outcome(end.reason, end.text, off, complete, helps)


def main(only: str = "") -> None:
    """Print the matrix."""
    print("off: output off; rec: record complete to the fault; msg: names instrument, command, remedy (or run went on)")
    print(f"{'instrument':<11}{'fault':<10}" + "".join(f"{phase:>16}" for phase in PHASES))
    held = total = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        places = phases(folder)
        for role in ("source", "voltmeter"):
            for kind in KINDS:
                if only and kind != only:
                    continue
                row = f"{role:<11}{kind:<10}"
                for phase in PHASES:
                    outcome = cell(role, kind, phase, places[role, phase], folder)
                    total += 1
                    held += outcome.held
                    marks = [outcome.output_off, outcome.record_complete, outcome.message_helps]
                    words = ["off", "rec", "msg"]
                    shown = (
                        "all"
                        if all(marks)
                        else "NOT " + ",".join(w for w, m in zip(words, marks, strict=True) if not m)
                    )
                    row += f"{shown + ' ' + ('went on' if outcome.reason is EndReason.RULE else 'ended'):>16}"
                    if not outcome.held:
                        print(f"   {role} {kind} {phase}: {outcome}", file=sys.stderr)
                print(row, flush=True)
    print(f"all promises held in {held} of {total}")


if __name__ == "__main__":
    main(*sys.argv[1:])
