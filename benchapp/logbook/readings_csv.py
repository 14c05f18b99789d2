"""Readings as CSV: time_s,current_A,voltage_V and, where there is a thermometer, temperature_C.

A line "# pause" stands where the run was paused, "# part NAME" where a scanner connected that part. Lines such as
"# emf_order = 1" above the header say how it was measured, so that an analysis of the file gives the same result.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from benchapp.errors import Fault, InputError
from drivers.plain import plain

REQUIRED = ("time_s", "current_A", "voltage_V")
OPTIONAL = ("temperature_C",)
PAUSE = "# pause"
PART = "# part "
_LARGEST = 1e12  # of a time in seconds since any epoch, and far above any current, voltage or temperature
_PLAIN = frozenset("0123456789+-.")


Floats = NDArray[np.float64]


@dataclass(slots=True)
class ReadingColumns:
    """Readings by column, in time order; `pauses` are the indices of readings that come first after a pause."""

    time_s: list[float] = field(default_factory=list)
    current_A: list[float] = field(default_factory=list)
    voltage_V: list[float] = field(default_factory=list)
    temperature_C: list[float] | None = None
    pauses: list[int] = field(default_factory=list)
    parts: list[tuple[int, str]] = field(default_factory=list)  # from which reading on, on a scanner
    remarks: dict[str, str] = field(default_factory=dict)


def write_readings(
    stream: TextIO,
    rows: Iterable[Sequence[float]],
    pauses: Iterable[int] = (),
    remarks: Mapping[str, object] | None = None,
    parts: Iterable[tuple[int, str]] = (),
) -> None:
    """Write (time_s, current_A, voltage_V) rows; 17 significant digits, so that reading back gives the same numbers."""
    first_after_pause, first_of = set(pauses), dict(parts)
    for key, value in (remarks or {}).items():
        stream.write(f"# {key} = {plain(str(value))}\n")
    stream.write(",".join(REQUIRED) + "\n")
    for index, row in enumerate(rows):
        if index in first_after_pause:
            stream.write(PAUSE + "\n")
        if index in first_of:
            stream.write(f"{PART}{plain(first_of[index])}\n")
        stream.write(",".join(repr(float(value)) for value in row) + "\n")


def read_readings(path: Path) -> ReadingColumns:
    """Read a CSV file of readings. Raises InputError that names file, line, value and remedy."""
    lines = _lines(path)
    header_number, header = next(
        ((n, text) for n, text in enumerate(lines, 1) if text.strip() and not text.startswith("#")), (0, "")
    )
    names = [name.strip() for name in header.split(",")]
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        remedy = f"Write them as the first line, separated by commas: {','.join(REQUIRED)}[,{OPTIONAL[0]}]"
        raise _refusal(path, "header", f"columns missing: {', '.join(missing)}", header.strip(), remedy)
    columns = ReadingColumns(temperature_C=[] if OPTIONAL[0] in names else None)
    for text in lines[: header_number - 1]:
        key, equals, value = text.lstrip("# ").partition("=")
        if equals:
            columns.remarks[key.strip()] = value.strip()
    if _take_at_once(path, header_number, lines, names, columns):
        return columns
    for number, text in enumerate(lines[header_number:], header_number + 1):
        stripped = text.strip()
        if stripped.lower() == PAUSE:
            columns.pauses.append(len(columns.time_s))
        elif stripped.lower().startswith(PART):
            columns.parts.append((len(columns.time_s), stripped[len(PART) :].strip()))
        elif stripped and not stripped.startswith("#"):
            _take_row(path, number, names, next(csv.reader([stripped])), columns)
    if not columns.time_s:
        raise _refusal(path, "readings", "the file holds no readings", "", "Write one line a reading below the header")
    return columns


def _take_at_once(path: Path, header: int, lines: list[str], names: list[str], columns: ReadingColumns) -> bool:
    """Plain rows through NumPy's reader; False, and nothing taken, where a line needs to be looked at by itself."""
    special = [number for number, text in enumerate(lines[header:]) if text[:1] not in _PLAIN]
    remarks = [lines[header + number].strip().lower() for number in special]
    plain = len(lines) - header > len(special) and all(text in (PAUSE, "") for text in remarks)
    if not plain or columns.temperature_C is not None:
        return False
    try:
        table = np.loadtxt(path, delimiter=",", comments="#", skiprows=header, ndmin=2, encoding="utf-8-sig")
    except ValueError:
        return False
    if len(table) + len(special) != len(lines) - header:
        return False
    if table.shape[1] != len(names):
        return False
    by_name = dict(zip(names, table.T, strict=True))
    t, I = by_name["time_s"], by_name["current_A"]
    if not (_largest(t) <= _LARGEST and _largest(I) <= _LARGEST and bool((np.diff(t) > 0).all())):
        return False
    columns.pauses += [number - before for before, number in enumerate(special) if remarks[before] == PAUSE]
    columns.time_s, columns.current_A = t.tolist(), I.tolist()
    V = by_name["voltage_V"]
    columns.voltage_V = np.where(np.abs(V) > _LARGEST, np.copysign(np.inf, V), V).tolist()
    return True


def _largest(column: Floats) -> float:
    return float(np.max(np.abs(column), initial=0.0))


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise _refusal(path, "encoding", "no UTF-8 text", "", "Save the file as CSV in UTF-8") from error
    except OSError as error:
        raise _refusal(path, "file", f"cannot be read: {error.strerror}", "", "Check path and rights") from error


def _take_row(path: Path, number: int, names: list[str], cells: list[str], columns: ReadingColumns) -> None:
    if len(cells) != len(names):
        problem = f"{len(cells)} values under {len(names)} columns"
        remedy = "Write one value a column, separated by commas"
        raise _refusal(path, f"line {number}", problem, ",".join(cells), remedy)
    row = dict(zip(names, cells, strict=True))
    time_s = _number(path, number, "time_s", row)
    if columns.time_s and time_s <= columns.time_s[-1]:
        problem = f"the time does not go on from {columns.time_s[-1]!r} s"
        remedy = "Sort the readings by time, one file a run"
        raise _refusal(path, f"line {number}, time_s", problem, row["time_s"], remedy)
    columns.time_s.append(time_s)
    columns.current_A.append(_number(path, number, "current_A", row))
    # A voltage that is no number is an overload: the analysis leaves it out and says so.
    columns.voltage_V.append(_number(path, number, "voltage_V", row, finite=False))
    if columns.temperature_C is not None:
        empty = not row[OPTIONAL[0]].strip()
        columns.temperature_C.append(math.nan if empty else _number(path, number, OPTIONAL[0], row, finite=False))


def _number(path: Path, number: int, name: str, row: dict[str, str], *, finite: bool = True) -> float:
    try:
        value = float(row[name])
    except ValueError:
        value = None
    if value is None or (finite and not math.isfinite(value)):
        remedy = "Write a plain number in SI units, such as 1.25e-05"
        raise _refusal(path, f"line {number}, {name}", "this is no number", row[name], remedy)
    if abs(value) > _LARGEST and not finite:
        return math.copysign(math.inf, value)  # SCPI's 9.9E37 among them
    if abs(value) > _LARGEST:
        remedy = f"Write SI units; nothing here is above {_LARGEST:g}"
        raise _refusal(path, f"line {number}, {name}", "this is no such reading", row[name], remedy)
    return value


def _refusal(path: Path, where: str, problem: str, value: str, remedy: str) -> InputError:
    return InputError(Fault(problem, value, remedy, field=where, file=str(path)))
