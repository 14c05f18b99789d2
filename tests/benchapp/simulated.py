"""A recipe run on a simulated bench in process and in virtual time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from benchapp.analysis.estimate import Estimate
from benchapp.bench.bench import Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import BenchPlan
from benchapp.events import Event, EventKind, Reading, RunEnd
from benchapp.logbook.replay import analyse_by
from benchapp.measure.control import Control
from benchapp.measure.sequencer import Sequencer
from benchapp.measure.snapshot import Batch, RunFacts, RunSnapshot
from benchapp.recipe import Recipe, build_recipe
from benchapp.recipe_values import Entry
from benchapp.result.budget import BudgetPlan
from benchapp.result.statement import Statement
from benchapp.run.stating import headline, state_run
from benchapp.run.terms import terms_of
from drivers.dialect import load_dialect
from drivers.guardian import NoGuard
from drivers.link import Link
from drivers.polarity import Polarity, UnipolarSource
from drivers.registry import Transcript
from drivers.scpi_switch import ScpiSwitch
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.loopback import Loopback
from sim.scenario import Scenario, load_scenario, scenario_names


def benches_in_order() -> list[str]:
    """Those on which nothing is wrong with the part, the leads or the instruments."""
    wrong = {"filmed_contact", "lopsided_source"}  # at one current nothing shows it: that is their lesson
    # Its truth is that of another temperature, theirs are several: test_temperature, test_parts.
    elsewhere = {"warming_cable", "shunt_beside_standard", "lugs_on_fixture"}
    left_out = wrong | elsewhere
    return [name for name in scenario_names() if not load_scenario(name).expect and name not in left_out]


def recipe_of(scenario: Scenario, **changes: Any) -> Recipe:
    """The recipe that a scenario suggests."""
    return replace(build_recipe({key: Entry(value, key) for key, value in scenario.recipe.items()}), **changes)


def run_on(
    bench: Bench,
    recipe: Recipe,
    clock: VirtualClock,
    publish: Callable[[Batch], None],
    *,
    limits: HouseLimits | None = None,
    control: Control | None = None,
    guard: NoGuard | None = None,
    known: BudgetPlan | None = None,
) -> RunEnd:
    """One run in virtual time on instruments in process."""
    return Sequencer(
        bench,
        recipe,
        limits or HouseLimits(),
        clock=clock,
        control=control or Control(),
        publish=publish,
        guard=guard or NoGuard(),
        known=known,
        real_time=clock.now,
    ).run()


@dataclass
class Rehearsal:
    """One run; `on_batch` may give orders while it goes on."""

    scenario: Scenario = field(default_factory=lambda: load_scenario("shunt"))
    seed: int = 1
    limits: HouseLimits = field(default_factory=HouseLimits)
    guard: NoGuard = field(default_factory=NoGuard)
    scanner_inside: bool = False  # the scanner is a part of the voltmeter
    on_batch: Callable[[Batch, Control], None] = lambda batch, control: None
    batches: list[Batch] = field(default_factory=list)
    sent: list[tuple[str, str, str]] = field(default_factory=list)
    resistances: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock = VirtualClock()
        self.sim = SimulatedBench(self.scenario, self.clock, self.seed)
        self.control = Control()

    def run(self, recipe: Recipe, transcript: Transcript | None = None, known: BudgetPlan | None = None) -> RunEnd:
        self.recipe = recipe
        plan = BenchPlan(
            "source",
            "voltmeter",
            load_dialect(self.scenario.source_dialect, "source"),
            load_dialect(self.scenario.voltmeter_dialect, "voltmeter"),
            lambda: Loopback(self.sim.source_faults),
            lambda: Loopback(self.sim.voltmeter_faults),
        )
        second = self.sim.current_voltmeter
        if second is not None and recipe.current_shunt_ohm is not None:
            dialect = load_dialect("scpi", "voltmeter")
            plan = replace(
                plan,
                current_voltmeter="current voltmeter",
                current_voltmeter_dialect=dialect,
                current_voltmeter_wire=lambda: Loopback(second),
            )
        thermometer = self.sim.thermometer
        if thermometer is not None and recipe.corrects_temperature:
            plan = replace(
                plan,
                thermometer="voltmeter" if self.sim.thermometer_inside else "thermometer",
                thermometer_dialect=load_dialect(
                    "second_input" if self.sim.thermometer_inside else "scpi", "thermometer"
                ),
                thermometer_wire=lambda: Loopback(thermometer),
            )
        scanner = self.sim.scanner
        if scanner is not None and recipe.channels:
            plan = replace(
                plan,
                scanner="voltmeter" if self.scanner_inside else "scanner",
                scanner_dialect=load_dialect("scpi", "switch"),
                scanner_wire=lambda: Loopback(scanner),
            )
        if self.sim.polarity_switch is not None:
            turning, dialect = self.sim.polarity_switch, load_dialect("scpi", "switch")
            switch = ScpiSwitch(Link(lambda: Loopback(turning), "switch"), dialect)
            switch.open()
            plan = replace(plan, source_driver=UnipolarSource, polarity=Polarity(switch, "1", "2"))
        bench = Bench(plan, transcript or (lambda *line: self.sent.append(line)))
        return run_on(
            bench,
            recipe,
            self.clock,
            self._take,
            limits=self.limits,
            control=self.control,
            guard=self.guard,
            known=known,
        )

    def _take(self, batch: Batch) -> None:
        self.batches.append(batch)
        if batch.readings:
            self.resistances.append(self.sim.circuit.resistance_ohm())
        self.on_batch(batch, self.control)

    @property
    def readings(self) -> list[Reading]:
        return [reading for batch in self.batches for reading in batch.readings]

    @property
    def events(self) -> list[Event]:
        return [event for batch in self.batches for event in batch.events]

    @property
    def states(self) -> list[str]:
        return [event.text for event in self.events if event.kind is EventKind.STATE]

    @property
    def truth(self) -> float:
        """Mean resistance over the run: what the current warms counts as it was while it was read."""
        return sum(self.resistances) / len(self.resistances)

    @property
    def facts(self) -> RunFacts:
        return next((b.facts for b in self.batches if b.facts is not None), RunFacts({}, [], []))

    @property
    def estimate(self) -> Estimate:
        """What the run's readings say, with the flags of all traps."""
        return self._analysed[0]

    @property
    def blocks(self) -> np.ndarray:
        return self._analysed[1]

    @cached_property
    def _analysed(self) -> tuple[Estimate, np.ndarray]:
        t, I, V = (np.array([row[k] for row in self.readings]) for k in (1, 2, 3))
        pauses = [event.reading for event in self.events if event.kind is EventKind.PAUSE]
        return analyse_by(self.recipe, t, I, V, pauses, self.temperatures)

    @property
    def temperatures(self) -> np.ndarray:
        """As (2, n): time_s, degrees Celsius."""
        told = [found for batch in self.batches for found in batch.temperatures]
        return np.array(told, dtype=float).reshape(-1, 2).T

    def statements(self, known: BudgetPlan | None = None) -> tuple[Statement, ...]:
        """What would be recorded of the run, or of each of its parts."""
        known = self.facts.in_use(known or BudgetPlan(confidence=self.recipe.confidence))
        tells = self.facts.tells_compliance
        settings = self.facts.settings
        terms = terms_of(self.recipe, known, tells_compliance=tells, temperatures=self.temperatures, settings=settings)
        rows = np.array([row[1:] for row in self.readings], dtype=float).reshape(-1, 3).T
        return state_run(self.recipe, rows, self.events, self.temperatures, terms, self.last.end)

    def statement(self, known: BudgetPlan | None = None) -> Statement:
        """That which stands for the run."""
        return headline(self.statements(known))

    @property
    def last(self) -> RunSnapshot:
        return self.batches[-1].snapshot
