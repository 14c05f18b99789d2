"""House limits: what no recipe and no dialect can exceed. Only the user's own file raises them.

The file is `limits.toml` in $BENCHAPP_CONFIG, else in benchapp/ below the user's configuration folder:

    current = "50 A"
    compliance = "20 V"
    power = "20 W"
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchapp.errors import BenchError, Fault, InputError, QuantityError
from benchapp.paths import config_folder
from benchapp.quantity import engineering, parse
from benchapp.recipe import Recipe, entries_from_toml


class LimitExceeded(BenchError):
    """Asked for, or measured, beyond a house limit; `field` is the recipe's key that asks for it."""

    exit_status = 4

    def __init__(self, message: str, field: str) -> None:
        super().__init__(message)
        self.field = field


_SOURCE_GAIN = 1.02


@dataclass(frozen=True, slots=True)
class HouseLimits:
    """Largest current, compliance, and power in the specimen."""

    current_A: float = 10.0
    compliance_V: float = 20.0
    power_W: float = 5.0

    def check(self, recipe: Recipe) -> None:
        """Refuse a recipe before any command leaves. Raises LimitExceeded."""
        preset = _PRESETS.get(recipe.preset)
        if preset is not None:
            for field, value, limit, unit in (
                ("current", recipe.current_A, preset.current_A, "A"),
                ("compliance", recipe.compliance_V, preset.compliance_V, "V"),
            ):
                if value > limit * (1 + 1e-9):
                    raise LimitExceeded(
                        f"{field}: {engineering(value, unit)} exceeds the {engineering(limit, unit)} of the recipe's"
                        f' limits = "{recipe.preset}". Lower it, or remove that line',
                        field,
                    )
        self._check("current", recipe.current_A, self.current_A, "A")
        self._check("compliance", recipe.compliance_V, self.compliance_V, "V")
        if recipe.nominal_ohm is not None:
            self.check_power(recipe.current_A**2 * recipe.nominal_ohm)

    def check_setting(self, name: str, value: float) -> None:
        """A "level" in A or a "compliance" in V on its way to an instrument. Raises LimitExceeded."""
        what, limit, unit = (
            ("current", self.current_A, "A") if name == "level" else ("compliance", self.compliance_V, "V")
        )
        self._check(what, value, limit, unit)

    def check_measured(self, current_A: float) -> None:
        """Raise LimitExceeded where a measured current lies above the limit by more than a source's gain explains."""
        self._check("measured current", current_A / _SOURCE_GAIN, self.current_A, "A")

    def check_power(self, power_W: float) -> None:
        """Raise LimitExceeded above the limit."""
        self._check("power in the specimen", power_W, self.power_W, "W")

    def _check(self, what: str, value: float, limit: float, unit: str) -> None:
        if value > limit * (1 + 1e-9):
            raise LimitExceeded(
                f"{what}: {engineering(value, unit)} exceeds the house limit of {engineering(limit, unit)}. Lower it,"
                f" or raise the limit in {limits_file()} if the bench and its wiring are made for it",
                field="compliance" if what == "compliance" else "current",
            )


# Contact resistance with its surface film left whole: 20 mV open circuit and 100 mA (ASTM B539, method C;
# IEC 60512-2-1; EIA-364-23).
_PRESETS = {"dry-circuit": HouseLimits(current_A=0.1, compliance_V=0.02)}


_LARGEST = 1e4


def limits_file() -> Path:
    """Where the user's own limits stand."""
    return config_folder() / "limits.toml"


def load_limits() -> HouseLimits:
    """The user's limits, else the house's. Raises InputError."""
    path = limits_file()
    if not path.is_file():
        return HouseLimits()
    values: dict[str, float] = {}
    faults: list[Fault] = []
    units = {"current": "A", "compliance": "V", "power": "W"}
    for key, entry in entries_from_toml(path).items():
        if key not in units:
            faults.append(entry.fault("unknown", f"Known are {', '.join(units)}"))
            continue
        try:
            value = parse(str(entry.value), units[key])
        except QuantityError as error:
            faults.append(entry.fault(error.faults[0].problem, error.faults[0].remedy))
            continue
        if not 0 < value <= _LARGEST:
            faults.append(entry.fault("no limit", f"Write a value above 0, up to {_LARGEST:g} {units[key]}"))
            continue
        values[f"{key}_{units[key]}"] = value
    if faults:
        raise InputError(*faults)
    return HouseLimits(**values)
