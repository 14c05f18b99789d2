"""A study in the logbook: its runs are those whose bench says so, and it goes on where it was left."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.analysis.estimate import Estimate
from benchapp.errors import Fault, InputError
from benchapp.events import EndReason
from benchapp.logbook.query import list_runs, load_run
from benchapp.logbook.replay import analyse_by, recipe_of, temperatures_of
from benchapp.recipe import Recipe
from benchapp.study.conclusion import Conclusion, StudyRun
from benchapp.study.kinds import KINDS


@dataclass(frozen=True, slots=True)
class StudyKey:
    """What a run of a study carries in its record: which study (the number of its first run; 0 for that run itself),
    of which kind, and which step, of how many.
    """

    first: int
    kind: str
    step: int
    of: int
    repeats: int

    @property
    def told(self) -> str:
        """As the record keeps it."""
        return f"{self.kind} {self.first} {self.step} {self.of} {self.repeats}"


def key_of(run_id: int, told: object) -> StudyKey | None:
    """Out of a record; None where the run belongs to no study."""
    parts = str(told or "").split()
    if len(parts) != 5 or parts[0] not in KINDS or not all(part.isdigit() for part in parts[1:]):
        return None
    first, step, of, repeats = (int(part) for part in parts[1:])
    return StudyKey(first or run_id, parts[0], step, of, repeats)


@dataclass(frozen=True, slots=True)
class RecordedStudy:
    """The runs of one study by step: where a step was measured twice, the later whole one."""

    study_id: int
    kind: str
    of: int
    repeats: int
    runs: dict[int, int]

    @property
    def whole(self) -> bool:
        """Whether every step is there."""
        return len(self.runs) == self.of

    @property
    def next_step(self) -> int:
        """The first that is missing."""
        return next(step for step in range(self.of + 1) if step not in self.runs)


def studies(path: Path) -> list[RecordedStudy]:
    """All of a logbook, the oldest first. Raises LogbookError."""
    found: dict[int, RecordedStudy] = {}
    for run in list_runs(path):
        key = key_of(run.run_id, run.bench.get("study"))
        if key is None:
            continue
        study = found.setdefault(key.first, RecordedStudy(key.first, key.kind, key.of, key.repeats, {}))
        if run.status == str(EndReason.RULE):
            study.runs[key.step] = run.run_id
    return list(found.values())


def study_of(path: Path, study_id: int) -> RecordedStudy:
    """One by its number. Raises InputError."""
    for study in studies(path):
        if study.study_id == study_id:
            return study
    known = ", ".join(str(study.study_id) for study in studies(path)) or "none"
    raise InputError(Fault("no such study", str(study_id), f"There are: {known}", field="study"))


def recipe_of_study(path: Path, study: RecordedStudy) -> Recipe:
    """That of its first step."""
    return recipe_of(load_run(path, study.study_id))


_BY_VALUES = ("power", "linearity", "comparison", "reconnection")  # the value of each run counts


def _unfit(estimate: Estimate, statements: Sequence[dict[str, Any]]) -> str:
    """Why a run's value cannot count; empty where it can."""
    if not math.isfinite(estimate.resistance_ohm) or not math.isfinite(estimate.standard_uncertainty_ohm):
        return "is too short for an interval"
    if statements and statements[0].get("validity") == "not-valid":
        return "is not valid"
    return ""


def conclude(path: Path, study: RecordedStudy) -> Conclusion:
    """From its runs as they stand in the record. Raises InputError, LogbookError."""
    if not study.whole:
        remedy = f"Go on with it: benchapp study {study.kind} --resume {study.study_id}"
        fault = Fault(f"{len(study.runs)} of {study.of} runs are there", "", remedy, field=f"study {study.study_id}")
        raise InputError(fault)
    runs, blocks, begun = [], [], None
    for step in range(study.of):
        record = load_run(path, study.runs[step])
        recipe = recipe_of(record)
        columns = record.readings
        rows = np.array([columns.time_s, columns.current_A, columns.voltage_V], dtype=float)
        # A study of the temperature looks at R as it is, not as it would be at the reference.
        raw = replace(recipe, temperature_lag_s=None, reference_C=None, alpha_per_K=None)
        estimate, found = analyse_by(raw, rows[0], rows[1], rows[2], list(columns.pauses))
        started = datetime.datetime.fromisoformat(record.summary.started)
        begun = begun or started
        seconds = (started - begun).total_seconds()
        if study.kind in _BY_VALUES:
            reason = _unfit(estimate, record.summary.statements)
            if reason:
                text = f"Run {record.summary.run_id}, step {step + 1}, {reason}: measure it again, or for longer."
                return Conclusion(study.kind, (), text, tells=False)
        runs.append(StudyRun(recipe, rows, estimate, temperatures_of(record), seconds))
        blocks.append(found)
    return KINDS[study.kind].conclude(runs, blocks)
