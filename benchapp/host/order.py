"""A run as it is ordered: bench, recipe, record; and the session made from it, with its simulated bench beside it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from benchapp.bench.ammeter import check_measured_current
from benchapp.bench.auxiliary import AuxiliaryPlan
from benchapp.bench.limits import load_limits
from benchapp.bench.plan import BenchPlan, check_scanner, plan_bench
from benchapp.clock import ScaledClock
from benchapp.errors import Fault, InputError, QuantityError
from benchapp.quantity import parse_positive
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard
from benchapp.run.session import Session
from sim.bench import SimulatedBench
from sim.clock import ScaledClock as SimulatedClock
from sim.scenario import Scenario, load_scenario
from sim.server import BenchServer


@dataclass(frozen=True, slots=True)
class BenchChoice:
    """A simulated bench by its name, or addresses with dialects."""

    scenario: str = ""
    source: str = ""
    voltmeter: str = ""
    source_dialect: str = "scpi"
    voltmeter_dialect: str = "scpi"
    current_voltmeter: str = ""  # over a standard resistor; empty where the current is not measured
    current_voltmeter_dialect: str = "scpi"
    scanner: str = ""  # connects the parts of a recipe in turns; empty where there is none
    scanner_dialect: str = "scpi"
    thermometer: str = ""  # tells the specimen's temperature through the run; empty where none does
    thermometer_dialect: str = "scpi"
    compliance_by_hand: str = ""  # what was set on the source's front panel, where it cannot be set from here

    @property
    def complete(self) -> bool:
        """Whether both instruments are named."""
        return bool(self.scenario or (self.source.strip() and self.voltmeter.strip()))

    @property
    def source_spoken(self) -> str:
        """Name or path of the source's dialect."""
        scenario = self.loaded()
        return (self.source_dialect.strip() or "scpi") if scenario is None else scenario.source_dialect

    def loaded(self) -> Scenario | None:
        """The simulated bench, where one is chosen."""
        return load_scenario(self.scenario) if self.scenario else None


@dataclass(frozen=True, slots=True)
class RunOrder:
    """All that a run needs; `speed` is that of a simulated bench. `study` says of which study it is a step."""

    recipe: Recipe
    choice: BenchChoice
    logbook: Path
    speed: float = 1.0
    card: InstrumentCard | None = None
    study: str = ""

    @property
    def known(self) -> BudgetPlan:
        """What is known beside the readings."""
        recipe = self.recipe
        return BudgetPlan(
            self.card, confidence=recipe.confidence, settle_s=recipe.settle_s, aperture_s=recipe.aperture_s
        )


@contextlib.contextmanager
def session_for(order: RunOrder) -> Iterator[Session]:
    """A session that has not begun; a simulated bench lives as long as this. Raises BenchError."""
    with bench_for(order.choice, order.recipe, order.speed) as (plan, note):
        yield Session(
            plan,
            order.recipe,
            load_limits(),
            clock=ScaledClock(order.speed),
            logbook=order.logbook,
            bench_note=note,
            known=order.known,
            study=order.study,
        )


@contextlib.contextmanager
def bench_for(choice: BenchChoice, recipe: Recipe, speed: float = 1.0) -> Iterator[tuple[BenchPlan, str]]:
    """The instruments and a note on them; simulated ones live as long as this. Raises BenchError."""
    scenario = choice.loaded()
    if scenario is None:
        yield _own(choice, recipe), ""
        return
    with BenchServer(SimulatedBench(scenario, SimulatedClock(speed))) as server:
        plan = plan_on(server, recipe, scenario.source_dialect, scenario.voltmeter_dialect)
        with AuxiliaryPlan().turned(plan) as turned:
            yield turned, f"simulated bench {scenario.name}"


def plan_on(server: BenchServer, recipe: Recipe, source_dialect: str, voltmeter_dialect: str) -> BenchPlan:
    """The simulated instruments that a recipe needs; its polarity switch is not turned yet. Raises BenchError."""
    second = server.current_voltmeter if recipe.current_shunt_ohm is not None else ""
    check_measured_current(second, recipe)
    check_scanner(server.scanner, recipe)
    plan = plan_bench(
        server.source,
        server.voltmeter,
        source_dialect,
        voltmeter_dialect,
        current_voltmeter=second,
        thermometer=server.thermometer if recipe.corrects_temperature else "",
        thermometer_dialect=server.thermometer_dialect,
        scanner=server.scanner if recipe.channels else "",
        in_process=True,
    )
    return replace(plan, polarity_switch=server.polarity_switch)


def _own(choice: BenchChoice, recipe: Recipe) -> BenchPlan:
    second = choice.current_voltmeter.strip()
    check_measured_current(second, recipe)
    check_scanner(choice.scanner.strip(), recipe)
    return plan_bench(
        choice.source.strip(),
        choice.voltmeter.strip(),
        choice.source_dialect.strip() or "scpi",
        choice.voltmeter_dialect.strip() or "scpi",
        current_voltmeter=second,
        current_voltmeter_dialect=choice.current_voltmeter_dialect.strip() or "scpi",
        thermometer=choice.thermometer.strip() if recipe.corrects_temperature else "",
        thermometer_dialect=choice.thermometer_dialect.strip() or "scpi",
        scanner=choice.scanner.strip() if recipe.channels else "",
        scanner_dialect=choice.scanner_dialect.strip() or "scpi",
        compliance_by_hand_V=_by_hand(choice),
    )


def _by_hand(choice: BenchChoice) -> float | None:
    """The compliance that somebody has set and confirmed; None where nobody has. Raises InputError."""
    text = choice.compliance_by_hand.strip()
    try:
        return parse_positive(text, "V") if text else None
    except QuantityError as error:
        fault = error.faults[0]
        raise InputError(Fault(fault.problem, text, fault.remedy, field="compliance, set by hand")) from error
