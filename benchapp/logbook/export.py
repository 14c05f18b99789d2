"""A run out of the logbook as a file for other programs."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path
from typing import Any, TextIO

from benchapp.analysis.estimate import Estimate
from benchapp.errors import Fault, InputError
from benchapp.logbook.query import RunRecord, load_run
from benchapp.logbook.readings_csv import write_readings
from benchapp.logbook.replay import recipe_of, replay
from benchapp.recipe import Recipe
from benchapp.result.json_object import result_object, to_line


def export_csv(logbook: Path, run_id: int, stream: TextIO) -> None:
    """The readings; `benchapp analyse` takes them back. Raises LogbookError, InputError."""
    record = load_run(logbook, run_id)
    columns, recipe = record.readings, recipe_of(record)
    if not columns.time_s:
        raise InputError(Fault("the run has no readings", str(run_id), "Choose another run", field="RUN"))
    rows = zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)
    write_readings(stream, rows, columns.pauses, recipe.remarks)


def export_json(logbook: Path, run_id: int, stream: TextIO) -> None:
    """Result and whole record as one JSON object. Raises LogbookError."""
    stream.write(to_line(_as_object(load_run(logbook, run_id))) + "\n")


def computed_result(record: RunRecord) -> tuple[Recipe, Estimate, str | None]:
    """Recipe, estimate and verdict, from the recorded readings."""
    recipe = recipe_of(record)
    estimate, _ = replay(record, recipe)
    verdict = recipe.judge(estimate)
    return recipe, estimate, None if verdict is None else str(verdict)


def _as_object(record: RunRecord) -> dict[str, Any]:
    """The result, and under "record" all that it rests on."""
    summary, columns = record.summary, record.readings
    _, estimate, verdict = computed_result(record)
    return {
        **result_object({"run_id": summary.run_id}, estimate, verdict),
        "record": {
            "started": summary.started,
            "ended": summary.ended or None,
            "status": summary.status,
            "end_text": summary.end_text,
            "stated": summary.result,
            "software": summary.software,
            "recipe": tomllib.loads(summary.recipe_toml),
            "bench": summary.bench,
            "instruments": record.instruments,
            "settings": [{"role": role, **dataclasses.asdict(setting)} for role, setting in record.settings],
            "events": [dataclasses.asdict(event) for event in record.events],
            "time_s": columns.time_s,
            "current_A": columns.current_A,
            "voltage_V": columns.voltage_V,
        },
    }
