"""What the instruments' makers and their calibration say of them: a TOML file, accuracy by range.

[voltmeter]
calibrated = 2026-03-01
due = 2027-03-01
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 50          # of the value
range_ppm = 4             # of the range; its offset part is removed by the reversal
resolution = "1 nV"       # optional
[source]
[[source.range]]
range = "100 mA"
reading_ppm = 200
range_ppm = 50
"""

from __future__ import annotations

import datetime
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchapp.errors import Fault, InputError, QuantityError
from benchapp.quantity import parse

_UNITS = {"voltmeter": "V", "source": "A"}


@dataclass(frozen=True, slots=True)
class RangeAccuracy:
    """Limits of error on one range, in SI units and parts per million."""

    range_: float
    reading_ppm: float
    range_ppm: float
    resolution: float = 0.0


@dataclass(frozen=True, slots=True)
class InstrumentSpec:
    """Accuracy of one instrument; `due` is the day its calibration ends."""

    ranges: tuple[RangeAccuracy, ...]
    due: datetime.date | None = None

    def at(self, value: float) -> RangeAccuracy:
        """The range that holds a value: the smallest that is large enough, else the largest."""
        fitting = [r for r in self.ranges if r.range_ >= abs(value) * (1 - 1e-9)]
        return min(fitting, key=lambda r: r.range_) if fitting else max(self.ranges, key=lambda r: r.range_)


@dataclass(frozen=True, slots=True)
class InstrumentCard:
    """Both instruments, as far as the file knows them."""

    voltmeter: InstrumentSpec | None
    source: InstrumentSpec | None


def load_card(path: Path) -> InstrumentCard:
    """Read a card. Raises InputError with all faults at once."""
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise InputError(Fault(f"cannot be read: {error.strerror}", "", "Check the path", file=str(path))) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(Fault(f"this is no TOML: {error}", "", "Correct that line", file=str(path))) from error
    faults = [
        Fault("unknown", "", f"Known are {', '.join(_UNITS)}", field=key, file=str(path))
        for key in table
        if key not in _UNITS
    ]
    specs = {role: _spec(path, role, table[role], faults) for role in _UNITS if role in table}
    if not specs and not faults:
        faults.append(Fault("names no instrument", "", "Write [voltmeter], [source] or both", file=str(path)))
    if faults:
        raise InputError(*faults)
    return InstrumentCard(specs.get("voltmeter"), specs.get("source"))


def _spec(path: Path, role: str, table: Any, faults: list[Fault]) -> InstrumentSpec:
    if not isinstance(table, dict):
        faults.append(Fault("no table", str(table), f"Write [{role}]", field=role, file=str(path)))
        return InstrumentSpec(())
    for key in table:
        if key not in ("range", "calibrated", "due", "name"):
            remedy = "Known are name, range, calibrated, due"
            faults.append(Fault("unknown", "", remedy, field=f"{role}.{key}", file=str(path)))
    due = table.get("due")
    if due is not None and not isinstance(due, datetime.date):
        faults.append(Fault("no date", str(due), "Write a day such as 2027-03-01", field=f"{role}.due", file=str(path)))
        due = None
    rows = table.get("range", [])
    if not isinstance(rows, list) or not rows:
        remedy = f"Write at least one [[{role}.range]]"
        faults.append(Fault("missing", "", remedy, field=f"{role}.range", file=str(path)))
        return InstrumentSpec(())
    ranges = [_range(path, f"{role}.range[{k}]", row, _UNITS[role], faults) for k, row in enumerate(rows)]
    return InstrumentSpec(tuple(ranges), due)


def _range(path: Path, where: str, row: dict[str, Any], unit: str, faults: list[Fault]) -> RangeAccuracy:
    values: dict[str, float] = {}
    for key in ("range", "resolution"):
        if key not in row and key == "resolution":
            continue
        try:
            values[key] = parse(str(row.get(key, "")), unit)
        except QuantityError as error:
            fault = error.faults[0]
            faults.append(Fault(fault.problem, fault.value, fault.remedy, field=f"{where}.{key}", file=str(path)))
    for key in ("reading_ppm", "range_ppm"):
        number = row.get(key, 0)
        if isinstance(number, bool) or not isinstance(number, int | float) or number < 0:
            remedy = "Write a number of parts per million"
            faults.append(Fault("no usable number", str(number), remedy, field=f"{where}.{key}", file=str(path)))
            number = 0
        values[key] = float(number)
    for key in row:
        if key not in ("range", "reading_ppm", "range_ppm", "resolution"):
            remedy = "Known are range, reading_ppm, range_ppm, resolution"
            faults.append(Fault("unknown", "", remedy, field=f"{where}.{key}", file=str(path)))
    return RangeAccuracy(
        values.get("range", 0.0), values["reading_ppm"], values["range_ppm"], values.get("resolution", 0.0)
    )
