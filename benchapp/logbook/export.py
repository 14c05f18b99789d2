"""A run out of the logbook as a file for other programs."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path
from typing import Any, TextIO

from benchapp.errors import Fault, InputError
from benchapp.logbook.query import RunRecord, load_run
from benchapp.logbook.readings_csv import write_readings
from benchapp.logbook.replay import recipe_of
from benchapp.result.json_object import statement_from, to_line
from benchapp.result.words import interval_in_words, value_in_words, verdict_in_words


def export_csv(logbook: Path, run_id: int, stream: TextIO, *, salvage: bool = False) -> None:
    """The readings; `benchapp analyse` takes them back. Raises LogbookError, InputError.

    `salvage` writes what can still be read of a damaged run, and says in the head of the file what is damaged.
    """
    record = load_run(logbook, run_id, salvage=salvage)
    if record.summary.damage:
        kept = record.readings
        found = zip(kept.time_s, kept.current_A, kept.voltage_V, strict=True)
        write_readings(stream, found, kept.pauses, {"damaged": "; ".join(record.summary.damage)})
        return
    columns, recipe = record.readings, recipe_of(record)
    if not columns.time_s:
        raise InputError(Fault("the run has no readings", str(run_id), "Choose another run", field="RUN"))
    rows = zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)
    write_readings(stream, rows, columns.pauses, recipe.remarks | stated_remarks(record))


def stated_remarks(record: RunRecord) -> dict[str, object]:
    """What was stated of the run, for the head of its file."""
    body = record.summary.stated
    if body is None:
        return {}
    stated = statement_from(body)
    told: dict[str, object] = {"stated": value_in_words(stated), "interval": interval_in_words(stated)}
    told |= {"validity": str(stated.validity)}
    for key in ("range_V", "source_range_A"):
        value = getattr(stated.conditions, key)
        if value is not None:
            told[key] = value
    told["tells_compliance"] = str(all(item.code != "compliance" for item in stated.not_tested)).lower()
    verdict = verdict_in_words(stated)
    return told | ({"verdict": verdict} if verdict else {})


def export_json(logbook: Path, run_id: int, stream: TextIO, *, salvage: bool = False) -> None:
    """What was stated and the whole record as one JSON object; `salvage` as in export_csv. Raises LogbookError."""
    stream.write(to_line(_as_object(load_run(logbook, run_id, salvage=salvage))) + "\n")


def _recipe(text: str) -> dict[str, Any] | str:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return text


def _as_object(record: RunRecord) -> dict[str, Any]:
    """The statement made at the end, and under "record" all that it rests on, later statements among it."""
    summary, columns = record.summary, record.readings
    return {
        "run_id": summary.run_id,
        **(summary.stated or {}),
        "record": {
            "started": summary.started,
            "ended": summary.ended or None,
            "status": summary.status,
            "end_text": summary.end_text,
            "statements": list(summary.statements),
            "software": summary.software,
            **({"damaged": list(summary.damage)} if summary.damage else {}),
            "recipe": _recipe(summary.recipe_toml),
            "bench": summary.bench,
            "instruments": record.instruments,
            "settings": [{"role": role, **dataclasses.asdict(setting)} for role, setting in record.settings],
            "events": [dataclasses.asdict(event) for event in record.events],
            "time_s": columns.time_s,
            "current_A": columns.current_A,
            "voltage_V": columns.voltage_V,
            "temperature": [{"time_s": time_s, "celsius": celsius} for time_s, celsius in record.temperatures],
        },
    }
