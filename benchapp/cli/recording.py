"""One run into the logbook for a command that has more to do with it: a step of a study, a look before a plan."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from benchapp.bench.limits import load_limits
from benchapp.bench.plan import BenchPlan
from benchapp.cli.measure import until_the_end
from benchapp.cli.progress import Progress
from benchapp.clock import ScaledClock
from benchapp.events import EndReason
from benchapp.recipe import Recipe
from benchapp.run.session import Session
from sim.scenario import Scenario


def record(
    arguments: argparse.Namespace,
    path: Path,
    plan: BenchPlan,
    recipe: Recipe,
    scenario: Scenario | None,
    *,
    study: str = "",
) -> int | None:
    """Its number; None where it did not end by its rule, which is told on standard error."""
    session = Session(
        plan,
        recipe,
        load_limits(),
        clock=ScaledClock(arguments.speed),
        logbook=path,
        bench_note=f"simulated bench {scenario.name}" if scenario else "",
        operator=getattr(arguments, "operator", None) or "",
        study=study,
    )
    progress = Progress(session)
    with until_the_end(session):
        while not session.ended:
            session.wait_for_change(0.1)
            progress.show()
    progress.show(final=True)
    end = session.end
    if end is None or end.reason is not EndReason.RULE or not end.output_off:
        print("the run has no end" if end is None else end.text, file=sys.stderr)
        return None
    return session.run_id
