"""A run out of the logbook as a file for other programs."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TextIO

from benchapp.errors import Fault, InputError
from benchapp.logbook.query import RunRecord, load_run
from benchapp.logbook.readings_csv import write_readings
from benchapp.logbook.replay import recipe_of
from benchapp.result.json_object import run_object, statement_from, to_line
from benchapp.result.statement import Statement
from benchapp.result.words import interval_in_words, value_in_words, verdict_in_words


def export_csv(logbook: Path, run_id: int, stream: TextIO, *, salvage: bool = False) -> None:
    """The readings; `benchapp analyse` takes them back. Raises LogbookError, InputError.

    `salvage` writes what can still be read of a damaged run, and says in the head of the file what is damaged.
    """
    record = load_run(logbook, run_id, salvage=salvage)
    if record.summary.damage:
        kept = record.readings
        found = zip(kept.time_s, kept.current_A, kept.voltage_V, strict=True)
        write_readings(stream, found, kept.pauses, {"damaged": "; ".join(record.summary.damage)}, kept.parts)
        return
    columns, recipe = record.readings, recipe_of(record)
    if not columns.time_s:
        raise InputError(Fault("the run has no readings", str(run_id), "Choose another run", field="RUN"))
    rows = zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)
    write_readings(stream, rows, columns.pauses, recipe.remarks | stated_remarks(record), columns.parts)


def stated_remarks(record: RunRecord) -> dict[str, object]:
    """What was stated of the run, for the head of its file."""
    bodies = record.summary.stated_parts
    if not bodies:
        return {}
    parts = [statement_from(body) for body in bodies]
    stated = parts[0]
    told: dict[str, object]
    if stated.part:
        told = {f"stated of {one.part}": f"{value_in_words(one)}, {interval_in_words(one)}" for one in parts}
        return told | {"validity": ", ".join(str(one.validity) for one in parts)} | _of_conditions(stated)
    told = {"stated": value_in_words(stated), "interval": interval_in_words(stated)}
    told |= {"validity": str(stated.validity)} | _of_conditions(stated)
    verdict = verdict_in_words(stated)
    return told | ({"verdict": verdict} if verdict else {})


def _of_conditions(stated: Statement) -> dict[str, object]:
    """What an analysis of the file needs to know of the instruments."""
    told: dict[str, object] = {}
    for key in ("range_V", "source_range_A"):
        value = getattr(stated.conditions, key)
        if value is not None:
            told[key] = value
    return told | {"tells_compliance": str(all(item.code != "compliance" for item in stated.not_tested)).lower()}


def export_json(logbook: Path, run_id: int, stream: TextIO, *, salvage: bool = False) -> None:
    """What was stated and the whole record as one JSON object; `salvage` as in export_csv. Raises LogbookError."""
    stream.write(to_line(_as_object(load_run(logbook, run_id, salvage=salvage))) + "\n")


def _recipe(text: str) -> dict[str, Any] | str:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return text


def _stated(bodies: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The statement itself, or those of all parts."""
    return (
        run_object([statement_from(body) for body in bodies], {}) if bodies and bodies[0].get("part") else dict(*bodies)
    )


def _as_object(record: RunRecord) -> dict[str, Any]:
    """The statement made at the end, and under "record" all that it rests on, later statements among it."""
    summary, columns = record.summary, record.readings
    return {
        "run_id": summary.run_id,
        **_stated(summary.stated_parts),
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
