"""Reading the logbook: which runs there are, and one run whole. A damaged run is named, and hides no other."""

from __future__ import annotations

import json
import sqlite3
import struct
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchapp.events import Event, EventKind, Temperature
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.found import FoundRun, run_ids
from benchapp.logbook.owner import Owner, is_alive, this_process
from benchapp.logbook.reading import faults_of, log_beside, opened
from benchapp.logbook.readings_csv import ReadingColumns
from drivers.instrument import Setting
from drivers.plain import plain


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One run; `status` is running, interrupted, damaged, or the reason of its end.

    `damage` says what is not as it was written; what stands beside it is then what could be read.
    """

    run_id: int
    started: str
    ended: str
    status: str
    end_text: str
    software: str
    recipe_toml: str
    bench: dict[str, Any]
    readings: int
    output_off: bool
    statements: tuple[dict[str, Any], ...]
    damage: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What the recipe calls the measurement; empty where it has no name, or cannot be understood."""
        try:
            return plain(str(tomllib.loads(self.recipe_toml).get("name", "")))
        except (tomllib.TOMLDecodeError, RecursionError):
            return ""

    @property
    def stated_parts(self) -> tuple[dict[str, Any], ...]:
        """What was stated at the end, of the run or of each of its parts; empty where it has no end yet."""
        parts = [body.get("part", "") for body in self.statements]
        count = next((n for n, part in enumerate(parts) if n and (not part or part in parts[:n])), len(parts))
        return self.statements[:count]

    @property
    def stated(self) -> dict[str, Any] | None:
        """What was stated first at the end of the run; None where it has no end yet."""
        return self.statements[0] if self.statements else None


@dataclass(frozen=True, slots=True)
class RunRecord:
    """All that was written down of a run."""

    summary: RunSummary
    instruments: dict[str, str]
    settings: list[tuple[str, Setting]]
    readings: ReadingColumns
    events: list[Event]
    temperatures: list[Temperature]


@dataclass(frozen=True, slots=True)
class Listing:
    """The runs of a logbook, the oldest first; `fault` is what the file itself has, empty where it is sound."""

    runs: list[RunSummary]
    fault: str


RUNNING, INTERRUPTED, DAMAGED = "running", "interrupted", "damaged"
_FORMER_REASONS = {"stop rule": "completed"}


def list_runs(path: Path) -> list[RunSummary]:
    """Every run, the oldest first; one that is damaged or missing stands there as that. Raises LogbookError."""
    return listing(path).runs


def listing(path: Path) -> Listing:
    """Every run, and what the file itself has. The readings of a run that has ended are not looked at."""
    in_use = log_beside(path)  # before our own opening makes one
    with opened(path) as db:
        fault = faults_of(db)
        there, missing = run_ids(db)
        runs = [_summary(path, _in_file(db, run_id, fault), in_use=in_use) for run_id in there]
        runs += [_damaged(number, "it is missing from the file") for number in missing]
        return Listing(sorted(runs, key=lambda run: run.run_id), fault)


def load_run(path: Path, run_id: int, *, salvage: bool = False) -> RunRecord:
    """One run. Raises LogbookError where it is not there, or damaged; `salvage` gives what can still be read."""
    in_use = log_beside(path)
    with opened(path) as db:
        found = _in_file(db, run_id, faults_of(db)) if 0 < run_id < 2**63 else None
        if found is None or not found.exists:
            if found is not None and run_id in run_ids(db)[1]:
                raise LogbookError(f"{path}: run {run_id} is missing: the file is damaged. Take a copy that is whole")
            raise LogbookError(f"{path}: there is no run {run_id}. `benchapp logbook list` shows which there are")
        record = _record(path, found, in_use=in_use)
    if record.summary.damage and not salvage:
        raise LogbookError(
            f"{path}: run {run_id} is damaged: {'; '.join(record.summary.damage)}. Take a copy that is whole;"
            f" `benchapp logbook export {run_id} --salvage` writes what can still be read"
        )
    return record


def _in_file(db: sqlite3.Connection, run_id: int, fault: str) -> FoundRun:
    found = FoundRun(db, run_id)
    if fault and not found.ended:
        # Nothing says how many readings a run without an end has.
        found.damage.append(f"the file is damaged ({fault})")
    return found


def _record(path: Path, found: FoundRun, *, in_use: bool) -> RunRecord:
    instruments = {plain(role): plain(identity) for role, identity in found.rows("instrument")}
    settings = [
        (plain(role), Setting(plain(name), plain(asked), plain(back), bool(ok)))
        for role, name, asked, back, ok in found.rows("setting")
    ]
    events = [_event(found, *row[1:]) for row in found.rows("event")]
    columns = ReadingColumns(
        pauses=[event.reading for event in events if event.kind is EventKind.PAUSE or _is_next_part(event)],
        parts=[(event.reading, event.text) for event in events if event.kind is EventKind.PART],
    )
    for _, _, data in found.rows("readings"):
        for time_s, current_A, voltage_V in struct.iter_unpack("<3d", data[: len(data) // 24 * 24]):
            columns.time_s.append(time_s)
            columns.current_A.append(current_A)
            columns.voltage_V.append(voltage_V)
    temperatures = [
        Temperature(*pair)
        for _, _, data in found.rows("temperature")
        for pair in struct.iter_unpack("<2d", data[: len(data) // 16 * 16])
    ]
    found.look_at_whole()
    summary = _summary(path, found, len(columns.time_s), in_use=in_use)
    return RunRecord(summary, instruments, settings, columns, events, temperatures)


def _is_next_part(event: Event) -> bool:
    return event.kind is EventKind.PART and event.reading > 0


def _event(found: FoundRun, time_s: float, reading: int, kind: str, text: str) -> Event:
    try:
        return Event(time_s, reading, EventKind(kind), plain(text))
    except ValueError:
        found.damage.append(f"an event is of a kind that is not known ({kind!r})")
        return Event(time_s, reading, EventKind.NOTICE, plain(text))


def _summary(path: Path, found: FoundRun, readings: int | None = None, *, in_use: bool) -> RunSummary:
    statements = [body for _, _, body in found.rows("statement")]
    if readings is None:
        readings = found.readings_so_far()
    bench, stated = _parsed(found, "bench", found.head.get("bench", "{}")), []
    for body in statements:
        stated.append(_parsed(found, "statement", body))
    head, end = found.head, found.end
    if found.ended:
        status = _FORMER_REASONS.get(end["reason"], end["reason"])
    else:
        status = _without_end(path, found, in_use=in_use)
        end = {"end_text": _NO_END} if status == INTERRUPTED else {}
    if not found.ended and stated:
        found.damage.append("its end is missing")
    damage = tuple(dict.fromkeys(found.damage))
    return RunSummary(
        found.run_id,
        plain(head.get("started", "")),
        plain(end.get("ended") or ""),
        DAMAGED if damage else plain(status),
        plain(end.get("end_text") or ""),
        plain(head.get("software", "")),
        head.get("recipe", ""),
        bench,
        readings,
        end.get("output_off") in (None, 1),
        tuple(stated),
        damage,
    )


_NO_END = "it has no end: the program died, or the file was copied without the -wal beside it"


def _without_end(path: Path, found: FoundRun, *, in_use: bool) -> str:
    if not found.head:
        return INTERRUPTED
    owner = Owner(found.head["owner_host"], found.head["owner_pid"], found.head["owner_started"])
    if not is_alive(owner):
        return INTERRUPTED
    if in_use:
        return RUNNING
    # A run that goes on has its log beside the file.
    if owner.host == this_process().host:
        found.damage.append(f"the file is a copy of a logbook in use; {path.name}-wal was not copied with it")
    return INTERRUPTED


def _parsed(found: FoundRun, what: str, text: str) -> dict[str, Any]:
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        found.damage.append(f"its {what} cannot be understood")
        return {}
    return {plain(key): _plain(value) for key, value in told.items()}


def _plain(value: Any) -> Any:
    """A value of JSON with every text in it plain: what a stranger wrote is shown too."""
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, dict):
        return {plain(key): _plain(one) for key, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, list) else value


def _damaged(run_id: int, why: str) -> RunSummary:
    return RunSummary(run_id, "", "", DAMAGED, "", "", "", {}, 0, False, (), (why,))
