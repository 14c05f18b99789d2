"""Reversals a second, linked by trigger lines against stepped by the host, on a source with 10 ms of command latency.

The peer is the same program in stepped mode, in the same run, over sockets and in real time.

    python -m tests.benchmarks.linked
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path

from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import plan_bench
from benchapp.clock import ScaledClock
from benchapp.events import EndReason
from benchapp.recipe import StopRule
from benchapp.run.session import Session
from sim.bench import SimulatedBench
from sim.clock import ScaledClock as SimulatedClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.benchapp.simulated import recipe_of

_SETTLE_S = 0.0005


def rate(signs: str, aperture_s: float, stepping: str, seconds: float, folder: Path) -> tuple[float, float, int]:
    """Reversals a second over the run, the usual time from one reading to the next, and passes that were discarded.

    Raises RuntimeError where the run did not end as planned.
    """
    shunt = load_scenario("shunt")
    scenario = replace(
        shunt,
        source=replace(shunt.source, latency_s=0.010),
        wiring=replace(shunt.wiring, settling_time_constant_s=5e-5),
    )
    recipe = recipe_of(
        scenario,
        signs=signs,
        nplc=aperture_s * 50,
        settle_s=_SETTLE_S,
        stepping=stepping,
        stop=StopRule(None, seconds),
    )
    with BenchServer(SimulatedBench(scenario, SimulatedClock())) as server:
        plan = plan_bench(server.source, server.voltmeter, in_process=True)
        session = Session(plan, recipe, HouseLimits(), clock=ScaledClock(), logbook=folder / "log.sqlite")
        session.start()
        session.wait()
    if session.end is None or session.end.reason is not EndReason.RULE:
        raise RuntimeError(f"a run in step by {stepping} ended: {session.end}")
    discarded = sum(event.text.startswith("polarity-slip") for event in session.events)
    t, current, _ = session.history.readings.since(0)
    changes = int((current[1:] != current[:-1]).sum())
    steps = sorted(t[1:] - t[:-1])
    return changes / float(t[-1] - t[0]), float(steps[len(steps) // 2]), discarded


def main() -> None:
    """Print the table."""
    print(
        "reversals a second: stepped by the host, linked by lines, ratio (goal 3 at 2 ms); readings against the bound"
    )
    with tempfile.TemporaryDirectory() as name:
        os.environ["BENCHAPP_CONFIG"] = name
        for signs in ("+-", "+--+"):
            for aperture_s in (0.001, 0.002, 0.005, 0.02):
                host, _, _ = rate(signs, aperture_s, "host", 3.0, Path(name))
                lines, step_s, _ = rate(signs, aperture_s, "lines", 6.0, Path(name))
                bound = 1 / (_SETTLE_S + aperture_s + 0.00015)
                print(
                    f"{signs:<6}{1000 * aperture_s:5.0f} ms{host:9.1f}{lines:9.1f}{lines / host:7.2f}"
                    f"{100 / step_s / bound:8.1f} % within a pass",
                    flush=True,
                )
        runs = [rate("+--+", aperture_s, "lines", 5.0, Path(name)) for aperture_s in (0.002, 0.02) * 10]
        print(f"20 runs of 5 s in real time: none stopped, {sum(run[2] for run in runs)} passes discarded")


if __name__ == "__main__":
    main()
