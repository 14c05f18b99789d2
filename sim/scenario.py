"""Benches as TOML files: what is on the table, and what one would measure there."""

from __future__ import annotations

import dataclasses
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sim.world.config import (
    Ambient,
    ContactStep,
    CurrentShunt,
    Faults,
    Junction,
    Lines,
    Part,
    PolaritySwitch,
    Source,
    Specimen,
    ThermalEmf,
    Thermometer,
    Touch,
    Voltmeter,
    Wiring,
)

DEFAULT_SCENARIO = "shunt"
_MOST_BYTES = 1_000_000
_LARGEST = 1e15
_FOLDER = Path(__file__).with_name("scenarios")
_TABLES = {
    "specimen": Specimen,
    "wiring": Wiring,
    "thermal_emf": ThermalEmf,
    "source": Source,
    "voltmeter": Voltmeter,
    "current_voltmeter": Voltmeter,
    "current_shunt": CurrentShunt,
    "thermometer": Thermometer,
    "polarity_switch": PolaritySwitch,
    "ambient": Ambient,
    "lines": Lines,
    "source_faults": Faults,
    "voltmeter_faults": Faults,
}
_DIALECTS = {
    "source_dialect": ("scpi", "ledger", "quill"),
    "voltmeter_dialect": ("scpi", "binary", "ledger", "lantern"),
}
_LISTS = {"junction": Junction, "touch": Touch, "contact_step": ContactStep, "part": Part}


class ScenarioError(ValueError):
    """A scenario that cannot be used: which, where and what to do."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One simulated bench. `recipe` holds what a person would type to measure on it, as texts with units.

    The dialects say which instruments stand there: those of SCPI-99, or the odd ones.
    `lesson` says what one should see, `expect` which flags or which end of the run show it; empty for a bench in order.
    """

    name: str
    title: str
    seed: int
    specimen: Specimen
    wiring: Wiring
    thermal_emf: ThermalEmf
    source: Source
    voltmeter: Voltmeter
    recipe: dict[str, Any]
    current_voltmeter: Voltmeter = field(default_factory=Voltmeter)
    current_shunt: CurrentShunt = field(default_factory=CurrentShunt)
    thermometer: Thermometer = field(default_factory=Thermometer)
    polarity_switch: PolaritySwitch = field(default_factory=PolaritySwitch)
    ambient: Ambient = field(default_factory=Ambient)
    source_faults: Faults = field(default_factory=Faults)
    voltmeter_faults: Faults = field(default_factory=Faults)
    lines: Lines = field(default_factory=Lines)
    junctions: tuple[Junction, ...] = ()
    touches: tuple[Touch, ...] = ()
    contact_steps: tuple[ContactStep, ...] = ()
    parts: tuple[Part, ...] = ()  # on a scanner, where the bench has one
    lesson: str = ""
    expect: tuple[str, ...] = ()
    source_dialect: str = "scpi"
    voltmeter_dialect: str = "scpi"


def scenario_names() -> list[str]:
    """Names of the shipped benches."""
    return sorted(path.stem for path in _FOLDER.glob("*.toml"))


def load_scenario(name: str) -> Scenario:
    """A shipped bench by its name, or a TOML file by its path. Raises ScenarioError."""
    path = Path(name) if name.endswith(".toml") else _FOLDER / f"{name}.toml"
    try:
        if not path.is_file():
            known = ", ".join(scenario_names())
            raise ScenarioError(f"there is no bench {name[:200]!r}. Choose one of {known}, or a .toml file")
        if path.stat().st_size > _MOST_BYTES:
            raise ScenarioError(f"{path}: is larger than any such file. Name the file that was meant")
        tables = tomllib.loads(path.read_text("utf-8"))
    except ScenarioError:
        raise
    except OSError as error:
        raise ScenarioError(f"{name[:200]}: cannot be read: {error.strerror}. Check the path") from error
    except RecursionError as error:
        raise ScenarioError(f"{path}: this is no TOML: brackets without end. Correct the line") from error
    except ValueError as error:  # no TOML, no UTF-8, a number of thousands of digits
        raise ScenarioError(f"{path}: this is no TOML: {str(error)[:200]}. Correct the line that is named") from error
    return _scenario(path, tables)


def _scenario(path: Path, tables: dict[str, Any]) -> Scenario:
    known = {*_TABLES, *_LISTS, "title", "seed", "recipe", "lesson", "expect", *_DIALECTS}
    for key in tables:
        if key not in known:
            raise ScenarioError(f"{path}: {key}: unknown. Known are {', '.join(sorted(known))}")
    if "specimen" not in tables:
        raise ScenarioError(f"{path}: specimen: missing. Write [specimen] with resistance_ohm")
    parts = {name: _part(path, name, type_, tables.get(name, {})) for name, type_ in _TABLES.items()}
    return Scenario(
        name=path.stem,
        title=str(tables.get("title", path.stem)),
        seed=_seed(path, tables.get("seed", 1)),
        recipe=_recipe(path, tables.get("recipe", {})),
        source_dialect=_dialect(path, "source_dialect", tables),
        voltmeter_dialect=_dialect(path, "voltmeter_dialect", tables),
        lesson=str(tables.get("lesson", "")),
        expect=_texts(path, "expect", tables.get("expect", [])),
        junctions=_several(path, "junction", tables),
        touches=_several(path, "touch", tables),
        contact_steps=_several(path, "contact_step", tables),
        parts=_several(path, "part", tables),
        **parts,
    )


def _seed(path: Path, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**63:
        raise ScenarioError(f"{path}: seed: {str(value)[:200]!r} is no seed. Write a whole number, 0 or more")
    return value


def _recipe(path: Path, value: object) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ScenarioError(f"{path}: recipe: {str(value)[:200]!r} is no table. Write [recipe]")
    return dict(value)


def _texts(path: Path, key: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(text, str) for text in value):
        raise ScenarioError(f"{path}: {key}: {str(value)[:200]!r} is no list of texts. Write them in quotes")
    return tuple(value)


def _dialect(path: Path, key: str, tables: dict[str, Any]) -> str:
    name = str(tables.get(key, "scpi"))
    if name not in _DIALECTS[key]:
        raise ScenarioError(f"{path}: {key}: {name!r} is not simulated. Write one of {', '.join(_DIALECTS[key])}")
    return name


def _several(path: Path, name: str, tables: dict[str, Any]) -> tuple[Any, ...]:
    rows = tables.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ScenarioError(f"{path}: {name}: {str(rows)[:200]!r} is no list of tables. Write [[{name}]]")
    return tuple(_part(path, f"{name}[{index}]", _LISTS[name], row) for index, row in enumerate(rows))


def _is_number(x: object) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and -_LARGEST <= x <= _LARGEST


def _part(path: Path, table: str, type_: type[Any], values: dict[str, Any]) -> Any:
    fields = {field.name: field for field in dataclasses.fields(type_)}
    if not isinstance(values, dict):
        raise ScenarioError(f"{path}: {table}: {str(values)[:200]!r} is no table. Write [{table}]")
    for key, value in values.items():
        if key not in fields:
            raise ScenarioError(f"{path}: {table}.{key}: unknown. Known are {', '.join(fields)}")
        several = isinstance(fields[key].default, tuple)
        numbers = value if isinstance(value, list) and several else [value]
        if several != isinstance(value, list) or not all(_is_number(x) for x in numbers):
            raise ScenarioError(f"{path}: {table}.{key}: {str(value)[:200]} is no number. Write a number in SI units")
    missing = [n for n, f in fields.items() if f.default is dataclasses.MISSING and n not in values]
    if missing:
        raise ScenarioError(f"{path}: {table}.{missing[0]}: missing. Write a number in SI units")
    return type_(**{k: tuple(v) if isinstance(v, list) else v for k, v in values.items()})
