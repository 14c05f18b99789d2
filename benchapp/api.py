"""What a script or a notebook imports: open a logbook, look at its runs as arrays, state them anew, measure.

from benchapp.api import Logbook, measure

run = measure({"current": "5 A", "nominal": "250 uohm"}, scenario="shunt", logbook="log.sqlite")
print(run.value_ohm, run.U_ohm, run.validity)
for run in Logbook("log.sqlite"):
print(run.number, run.name, run.voltage_V.mean())
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.estimate import Estimator
from benchapp.errors import BenchError, Fault, InputError
from benchapp.host.order import BenchChoice, RunOrder, session_for
from benchapp.logbook.database import default_path
from benchapp.logbook.query import RunSummary, list_runs
from benchapp.quantity import concise
from benchapp.recipe import Recipe, build_recipe, entries_from_toml
from benchapp.recipe_values import Entry
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard, load_card
from benchapp.result.json_object import run_object
from benchapp.result.statement import Statement
from benchapp.run.recorded import RecordedRun, open_run, restated
from benchapp.run.session import prepare_process

__all__ = ["BenchError", "Logbook", "Run", "measure"]

Floats = NDArray[np.float64]


class Run:
    """One recorded run. Arrays are one-dimensional, in SI units; `statement` is the first one, as it was made.

    Attributes: `number`, `name`, `serial`, `recipe`, `statement`, `parts` (what is stated of each part, where a scanner
    connects several; `statement` is then that of the first that is not the standard), `events`.
    """

    def __init__(self, recorded: RecordedRun, statement: Statement | None = None) -> None:
        self._recorded = recorded
        self.recipe: Recipe = recorded.recipe
        self.number: int = recorded.record.summary.run_id
        self.name, self.serial = self.recipe.name, self.recipe.serial
        self._anew = statement is not None
        self.parts = recorded.parts
        measured = [one for one in self.parts if not one.is_standard]
        self.statement: Statement = statement or (measured or self.parts)[0]
        self.events = list(recorded.events)

    @property
    def time_s(self) -> Floats:
        """Middle of each reading, from the start of the run."""
        return self._column(0)

    @property
    def current_A(self) -> Floats:
        """Current of each reading: as it was set, or measured where it was."""
        return self._column(1)

    @property
    def voltage_V(self) -> Floats:
        """Voltage of each reading."""
        return self._column(2)

    def _column(self, which: int) -> Floats:
        return np.array(self._recorded.history.readings.since(0)[which], dtype=np.float64)

    @property
    def blocks(self) -> dict[str, Floats]:
        """Of each block: `time_s`, `resistance_ohm` and `emf_V`."""
        rows = self._recorded.history.blocks.since(0)
        return {name: row.copy() for name, row in zip(("time_s", "resistance_ohm", "emf_V"), rows, strict=False)}

    @property
    def columns(self) -> dict[str, Floats]:
        """The readings by name, as any data frame library takes them: `polars.DataFrame(run.columns)`."""
        return {"time_s": self.time_s, "current_A": self.current_A, "voltage_V": self.voltage_V}

    @property
    def value_ohm(self) -> float:
        """The value that was stated; of a run that is not valid it is not that of the specimen."""
        return self.statement.resistance_ohm

    @property
    def U_ohm(self) -> float:
        """Its expanded uncertainty."""
        return self.statement.expanded_uncertainty_ohm

    @property
    def validity(self) -> str:
        """valid, doubtful or not-valid."""
        return str(self.statement.validity)

    @property
    def verdict(self) -> str | None:
        """pass, fail or undecided; None without limits, and where the run is not valid."""
        found = self.statement.verdict
        return None if found is None else str(found)

    @property
    def flags(self) -> list[str]:
        """Codes of what is said of it."""
        return [flag.code for flag in self.statement.flags]

    def restate(
        self,
        *,
        emf_order: int | None = None,
        estimator: str | None = None,
        accuracy: str | Path | None = None,
        confidence: float | None = None,
    ) -> Run:
        """The same readings stated otherwise; nothing is written down. Raises InputError."""
        recipe = self.recipe if emf_order is None else replace(self.recipe, emf_order=_order(emf_order))
        if estimator is not None:
            recipe = replace(recipe, wanted_estimator=_estimator(estimator))
        if confidence is not None:
            recipe = replace(recipe, confidence=_confidence(confidence))
        card = None if accuracy is None else load_card(Path(accuracy))
        stated = restated(self._recorded, BudgetPlan(card, confidence=recipe.confidence), recipe=recipe)
        same = next((one for one in stated if one.part == self.statement.part), stated[0])
        return Run(self._recorded, same)

    def to_dict(self) -> dict[str, Any]:
        """The statement as the command line prints it as JSON."""
        return run_object([self.statement] if self._anew else self.parts, {"run_id": self.number})

    def __repr__(self) -> str:
        if self.validity == "not-valid" or not np.isfinite(self.value_ohm):
            return f"<Run {self.number} {self.name!r}: not valid>"
        told = concise(self.value_ohm, self.statement.standard_uncertainty_ohm, "ohm")
        return f"<Run {self.number} {self.name!r}: {told}, {self.validity}>"


class Logbook:
    """A logbook file; it is only read. Iterating gives its runs, the oldest first; damaged ones are left out."""

    def __init__(self, path: str | Path | None = None) -> None:
        self.path = default_path() if path is None else Path(path)

    def run(self, number: int) -> Run:
        """One run by its number. Raises LogbookError."""
        return Run(open_run(self.path, number))

    @property
    def summaries(self) -> list[RunSummary]:
        """What the list shows, without reading any readings. Raises LogbookError."""
        return list_runs(self.path)

    def __iter__(self) -> Iterator[Run]:
        for summary in self.summaries:
            if not summary.damage:
                yield self.run(summary.run_id)

    def __len__(self) -> int:
        return len(self.summaries)

    def __getitem__(self, number: int) -> Run:
        return self.run(number)


def measure(
    recipe: Recipe | Mapping[str, Any] | str | Path,
    *,
    scenario: str = "",
    source: str = "",
    voltmeter: str = "",
    source_dialect: str = "scpi",
    voltmeter_dialect: str = "scpi",
    logbook: str | Path | None = None,
    accuracy: str | Path | None = None,
    speed: float = 1.0,
) -> Run:
    """Measure, and return when the run has ended and its output is off.

    `recipe` is a Recipe, a file, or its keys with texts as in a file. Either `scenario` names a simulated bench (at
    `speed` times its pace) or `source` and `voltmeter` are addresses. Raises BenchError; KeyboardInterrupt ends the run
    first, with the output off.
    """
    if bool(scenario) == bool(source and voltmeter):
        remedy = 'Name scenario="shunt", or both source and voltmeter'
        raise InputError(Fault("no bench, or two", scenario or source, remedy, field="measure"))
    choice = BenchChoice(scenario, source, voltmeter, source_dialect, voltmeter_dialect)
    path = default_path() if logbook is None else Path(logbook)
    card: InstrumentCard | None = None if accuracy is None else load_card(Path(accuracy))
    with session_for(RunOrder(_recipe(recipe), choice, path, speed, card)) as session:
        prepare_process()
        session.start()
        try:
            session.wait()
        except BaseException:
            session.control.stop("ended in the script")
            with contextlib.suppress(KeyboardInterrupt):
                session.wait()
            raise
        number = session.run_id
    assert number is not None
    return Logbook(path).run(number)


def _recipe(given: Recipe | Mapping[str, Any] | str | Path) -> Recipe:
    if isinstance(given, Recipe):
        return given
    if isinstance(given, Mapping):
        return build_recipe({key: Entry(value, key) for key, value in given.items()})
    return build_recipe(entries_from_toml(Path(given)))


def _order(value: int) -> int:
    return build_recipe({"current": Entry("1 A", "current"), "emf_order": Entry(value, "emf_order")}).emf_order


def _confidence(value: float) -> float:
    return build_recipe({"current": Entry("1 A", "current"), "confidence": Entry(value, "confidence")}).confidence


def _estimator(name: str) -> Estimator:
    found = build_recipe({"current": Entry("1 A", "current"), "estimator": Entry(name, "estimator")}).wanted_estimator
    assert found is not None
    return found
