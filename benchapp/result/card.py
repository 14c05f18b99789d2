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

For planning, [voltmeter] may tell `noise_nV_per_rt_Hz` and `flicker_corner_Hz`, below which the noise rises as 1/f, and
[source] `noise_ppm_per_rt_Hz` of its current. Both may tell `temperature_ppm_per_K` (with `calibrated_at`, 23 degC
without it) and `drift_ppm_per_year`. Where the current is measured, [current_voltmeter] is written as [voltmeter] is,
and the resistor:

[current_shunt]
uncertainty_ppm = 20              # expanded (k = 2), of its value
temperature = "24 degC"           # while it measures; its certificate holds at `calibrated_at`
temperature_ppm_per_K = 2
drift_ppm_per_year = 5
calibrated = 2026-03-01
due = 2028-03-01

What is known of the wiring and the specimen stands in [circuit], each line optional:

[circuit]
temperature = "27 degC"           # of the air at the instruments
insulation = "1 Gohm"             # beside the specimen
settling_time_constant = "2 ms"
thermal_resistance = 15           # kelvin per watt, specimen to its surroundings
temperature_coefficient = "0.00393 / K"
asymmetry_ppm = 10                # of the two currents, where only the set ones are recorded
sense_leads = "2 ohm"             # both together, contacts included: their thermal noise, for planning
emf_walk_nV_per_rt_s = 5          # how the thermal EMF wanders, for planning
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchapp.errors import Fault, InputError, QuantityError
from benchapp.quantity import parse_coefficient, parse_positive, parse_temperature
from benchapp.tables import read_table

_LARGEST = 1e9  # of a number of parts per million, or of kelvin per watt
_UNITS = {"voltmeter": "V", "source": "A", "current_voltmeter": "V"}
_TABLES = (*_UNITS, "current_shunt", "circuit")
_SPEC_KEYS = (
    "name",
    "serial",
    "range",
    "calibrated",
    "due",
    "temperature_ppm_per_K",
    "calibrated_at",
    "drift_ppm_per_year",
)
_NOISE_KEYS = {"voltmeter": ("noise_nV_per_rt_Hz", "flicker_corner_Hz"), "source": ("noise_ppm_per_rt_Hz",)}
_RESISTOR_KEYS = (
    "name",
    "serial",
    "uncertainty_ppm",
    "calibrated",
    "due",
    "temperature",
    "temperature_ppm_per_K",
    "calibrated_at",
    "drift_ppm_per_year",
)
_CIRCUIT_KEYS = (
    "temperature",
    "insulation",
    "settling_time_constant",
    "thermal_resistance",
    "temperature_coefficient",
    "asymmetry_ppm",
    "sense_leads",
    "emf_walk_nV_per_rt_s",
)


_SAME_RANGE = 1.25


@dataclass(frozen=True, slots=True)
class RangeAccuracy:
    """Limits of error on one range, in SI units and parts per million."""

    range_: float
    reading_ppm: float
    range_ppm: float
    resolution: float = 0.0


@dataclass(frozen=True, slots=True)
class InstrumentSpec:
    """Accuracy of one instrument, or of a resistor; `due` is the day its calibration ends.

    A resistor has no ranges but an `uncertainty_ppm` of its value (expanded, k = 2), and `temperature_C`, where it is
    known at which it was used.
    """

    ranges: tuple[RangeAccuracy, ...] = ()
    name: str = ""
    serial: str = ""
    due: datetime.date | None = None
    calibrated: datetime.date | None = None
    temperature_ppm_per_K: float = 0.0
    calibrated_at_C: float = 23.0
    drift_ppm_per_year: float = 0.0
    uncertainty_ppm: float = 0.0
    temperature_C: float | None = None
    noise_per_rt_Hz: float | None = None  # V of a voltmeter, part of the current of a source
    flicker_corner_Hz: float = 0.0

    def at(self, value: float, range_: float | None = None) -> RangeAccuracy | None:
        """The row for the range in use, as it was read back; without one the smallest row that holds the value.

        None where the value lies outside all rows, or the range in use has none. An instrument may name a range by its
        full scale, so a row within a quarter of it counts.
        """
        if range_ is not None:
            near = [r for r in self.ranges if range_ / _SAME_RANGE <= r.range_ <= range_ * _SAME_RANGE]
            found = min(near, key=lambda r: abs(r.range_ - range_)) if near else None
            return found if found is not None and abs(value) <= _SAME_RANGE * found.range_ else None
        fitting = [r for r in self.ranges if r.range_ >= abs(value) * (1 - 1e-9)]
        return min(fitting, key=lambda r: r.range_) if fitting else None


@dataclass(frozen=True, slots=True)
class Circuit:
    """Wiring and specimen; None or 0 where nothing is known."""

    temperature_C: float | None = None
    insulation_ohm: float | None = None
    settling_time_constant_s: float | None = None
    thermal_resistance_K_per_W: float | None = None
    temperature_coefficient_per_K: float | None = None
    asymmetry_ppm: float = 0.0
    sense_leads_ohm: float = 0.0
    emf_walk_V_per_rt_s: float = 0.0


@dataclass(frozen=True, slots=True)
class InstrumentCard:
    """The instruments and the circuit, as far as the file knows them."""

    voltmeter: InstrumentSpec | None
    source: InstrumentSpec | None
    circuit: Circuit = Circuit()
    current_voltmeter: InstrumentSpec | None = None
    current_shunt: InstrumentSpec | None = None

    @property
    def specs(self) -> list[tuple[str, InstrumentSpec]]:
        """All that it knows, by what it is called."""
        found = (
            ("voltmeter", self.voltmeter),
            ("source", self.source),
            ("current voltmeter", self.current_voltmeter),
            ("current shunt", self.current_shunt),
        )
        return [(role, spec) for role, spec in found if spec is not None]

    @property
    def in_words(self) -> str:
        """Whose data these are: name, serial number, and the day to which they hold."""
        parts = []
        for role, spec in self.specs:
            due = f"due {spec.due}" if spec.due is not None else "no due date"
            parts.append(" ".join(filter(None, (role, spec.name, spec.serial, f"({due})"))))
        return "; ".join(parts)


def load_card(path: Path) -> InstrumentCard:
    """Read a card. Raises InputError with all faults at once."""
    table = read_table(path)
    faults = [
        Fault("unknown", "", f"Known are {', '.join(_TABLES)}", field=key, file=str(path))
        for key in table
        if key not in _TABLES
    ]
    specs = {role: _spec(path, role, table[role], faults) for role in _UNITS if role in table}
    circuit = _circuit(path, table["circuit"], faults) if "circuit" in table else Circuit()
    resistor = _resistor(path, table["current_shunt"], faults) if "current_shunt" in table else None
    if not specs and resistor is None and "circuit" not in table and not faults:
        faults.append(Fault("names no instrument", "", "Write [voltmeter], [source] or both", file=str(path)))
    if faults:
        raise InputError(*faults)
    return InstrumentCard(
        specs.get("voltmeter"), specs.get("source"), circuit, specs.get("current_voltmeter"), resistor
    )


def _spec(path: Path, role: str, table: Any, faults: list[Fault]) -> InstrumentSpec:
    if not isinstance(table, dict):
        faults.append(Fault("no table", str(table), f"Write [{role}]", field=role, file=str(path)))
        return InstrumentSpec(())
    known = (*_SPEC_KEYS, *_NOISE_KEYS.get(role, ()))
    for key in table:
        if key not in known:
            remedy = f"Known are {', '.join(known)}"
            faults.append(Fault("unknown", "", remedy, field=f"{role}.{key}", file=str(path)))
    days = _days(path, role, table, faults)
    reader = _Reader(path, role, table, faults)
    rows = table.get("range", [])
    if not isinstance(rows, list) or not rows:
        remedy = f"Write at least one [[{role}.range]]"
        faults.append(Fault("missing", "", remedy, field=f"{role}.range", file=str(path)))
        return InstrumentSpec(())
    if not all(isinstance(row, dict) for row in rows):
        faults.append(Fault("no table", str(rows), f"Write [[{role}.range]]", field=f"{role}.range", file=str(path)))
        return InstrumentSpec(())
    ranges = [_range(path, f"{role}.range[{k}]", row, _UNITS[role], faults) for k, row in enumerate(rows)]
    return InstrumentSpec(
        tuple(ranges),
        str(table.get("name", "")),
        str(table.get("serial", "")),
        days["due"],
        days["calibrated"],
        reader.number("temperature_ppm_per_K") or 0.0,
        reader.read("calibrated_at", parse_temperature, 23.0) or 0.0,
        reader.number("drift_ppm_per_year") or 0.0,
        noise_per_rt_Hz=_noise(reader),
        flicker_corner_Hz=reader.number("flicker_corner_Hz") or 0.0,
    )


def _noise(reader: _Reader) -> float | None:
    of_voltage, of_current = reader.number("noise_nV_per_rt_Hz"), reader.number("noise_ppm_per_rt_Hz")
    if of_voltage is not None:
        return of_voltage * 1e-9
    return None if of_current is None else of_current * 1e-6


def _days(path: Path, where: str, table: dict[str, Any], faults: list[Fault]) -> dict[str, datetime.date | None]:
    days: dict[str, datetime.date | None] = {}
    for key in ("due", "calibrated"):
        day = table.get(key)
        if day is not None and (not isinstance(day, datetime.date) or isinstance(day, datetime.datetime)):
            remedy = "Write a day such as 2027-03-01"
            faults.append(Fault("no date", str(day), remedy, field=f"{where}.{key}", file=str(path)))
            day = None
        days[key] = day
    return days


def _resistor(path: Path, table: Any, faults: list[Fault]) -> InstrumentSpec:
    where = "current_shunt"
    if not isinstance(table, dict):
        faults.append(Fault("no table", str(table), f"Write [{where}]", field=where, file=str(path)))
        return InstrumentSpec()
    for key in table:
        if key not in _RESISTOR_KEYS:
            remedy = f"Known are {', '.join(_RESISTOR_KEYS)}"
            faults.append(Fault("unknown", "", remedy, field=f"{where}.{key}", file=str(path)))
    if "uncertainty_ppm" not in table:
        remedy = "Write the expanded uncertainty (k = 2) of its value in parts per million"
        faults.append(Fault("missing", "", remedy, field=f"{where}.uncertainty_ppm", file=str(path)))
    days = _days(path, where, table, faults)
    reader = _Reader(path, where, table, faults)
    return InstrumentSpec(
        name=str(table.get("name", "")),
        serial=str(table.get("serial", "")),
        due=days["due"],
        calibrated=days["calibrated"],
        temperature_ppm_per_K=reader.number("temperature_ppm_per_K") or 0.0,
        calibrated_at_C=reader.read("calibrated_at", parse_temperature, 23.0) or 0.0,
        drift_ppm_per_year=reader.number("drift_ppm_per_year") or 0.0,
        uncertainty_ppm=reader.number("uncertainty_ppm") or 0.0,
        temperature_C=reader.read("temperature", parse_temperature),
    )


def _circuit(path: Path, table: Any, faults: list[Fault]) -> Circuit:
    if not isinstance(table, dict):
        faults.append(Fault("no table", str(table), "Write [circuit]", field="circuit", file=str(path)))
        return Circuit()
    for key in table:
        if key not in _CIRCUIT_KEYS:
            remedy = f"Known are {', '.join(_CIRCUIT_KEYS)}"
            faults.append(Fault("unknown", "", remedy, field=f"circuit.{key}", file=str(path)))
    reader = _Reader(path, "circuit", table, faults)
    return Circuit(
        reader.read("temperature", parse_temperature),
        reader.read("insulation", lambda text: parse_positive(text, "ohm")),
        reader.read("settling_time_constant", lambda text: parse_positive(text, "s", or_zero=True)),
        reader.number("thermal_resistance"),
        reader.read("temperature_coefficient", parse_coefficient),
        reader.number("asymmetry_ppm") or 0.0,
        reader.read("sense_leads", lambda text: parse_positive(text, "ohm", or_zero=True)) or 0.0,
        (reader.number("emf_walk_nV_per_rt_s") or 0.0) * 1e-9,
    )


@dataclass(frozen=True, slots=True)
class _Reader:
    """Values of one table; a fault is noted and reads as missing."""

    path: Path
    where: str
    table: dict[str, Any]
    faults: list[Fault]

    def number(self, key: str) -> float | None:
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _LARGEST:
            self._fault(key, "no usable number", str(value), "Write a number, 0 or more, without a unit")
            return None
        return float(value)

    def read(self, key: str, reader: Callable[[str], float], default: float | None = None) -> float | None:
        if key not in self.table:
            return default
        try:
            return reader(str(self.table[key]))
        except QuantityError as error:
            fault = error.faults[0]
            self._fault(key, fault.problem, fault.value, fault.remedy)
            return default

    def _fault(self, key: str, problem: str, value: str, remedy: str) -> None:
        self.faults.append(Fault(problem, value, remedy, field=f"{self.where}.{key}", file=str(self.path)))


def _range(path: Path, where: str, row: dict[str, Any], unit: str, faults: list[Fault]) -> RangeAccuracy:
    values: dict[str, float] = {}
    for key in ("range", "resolution"):
        if key not in row and key == "resolution":
            continue
        try:
            values[key] = parse_positive(str(row.get(key, "")), unit, or_zero=key == "resolution")
        except QuantityError as error:
            fault = error.faults[0]
            faults.append(Fault(fault.problem, fault.value, fault.remedy, field=f"{where}.{key}", file=str(path)))
    for key in ("reading_ppm", "range_ppm"):
        number = row.get(key, 0)
        if isinstance(number, bool) or not isinstance(number, int | float) or not 0 <= number <= _LARGEST:
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
