"""A check on a simulated bench in process and in virtual time."""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.bench.bench import Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import BenchPlan
from benchapp.check.finding import Finding, State
from benchapp.check.take import DEFAULT_PART, check_bench
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from drivers.dialect import load_dialect
from drivers.guardian import NoGuard
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.loopback import Loopback
from sim.scenario import Scenario
from tests.benchapp.simulated import recipe_of


@dataclass
class Checked:
    """What was found, and what the bench saw of it."""

    findings: list[Finding]
    bench: SimulatedBench
    sent: list[tuple[str, str, str]]
    seconds: float

    @property
    def failed(self) -> set[str]:
        return {one.name for one in self.findings if one.state is State.FAILS}

    def one(self, name: str) -> Finding:
        return next(one for one in self.findings if one.name == name)


def checked(
    scenario: Scenario,
    seed: int = 1,
    *,
    recipe: Recipe | None = None,
    known: BudgetPlan | None = None,
    part: float = DEFAULT_PART,
    limits: HouseLimits | None = None,
) -> Checked:
    """One check."""
    clock = VirtualClock()
    bench = SimulatedBench(scenario, clock, seed)
    plan = BenchPlan(
        "source",
        "voltmeter",
        load_dialect(scenario.source_dialect, "source"),
        load_dialect(scenario.voltmeter_dialect, "voltmeter"),
        lambda: Loopback(bench.source_faults),
        lambda: Loopback(bench.voltmeter_faults),
    )
    sent: list[tuple[str, str, str]] = []
    found = check_bench(
        Bench(plan, lambda *line: sent.append(line)),
        recipe or recipe_of(scenario),
        limits or HouseLimits(),
        known or BudgetPlan(),
        clock=clock,
        guard=NoGuard(),
        part=part,
    )
    assert not bench.source.output_on
    return Checked(found, bench, sent, clock.now())
