"""What to measure, as frozen data: from texts with units (a TOML file, options, a form) and back.

Every fault of an input is found before any is reported, each with its place, value and remedy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.analysis.blocks import middle_of
from benchapp.analysis.estimate import Estimator
from benchapp.analysis.examined.cycle import Cycle
from benchapp.analysis.levels import LONGEST_PERIOD, sign_period
from benchapp.errors import Fault, InputError
from benchapp.recipe_rules import DEFAULT_SIGNS, STOP_KEYS, contradictions
from benchapp.recipe_values import READERS, Channel, Entry, Target
from benchapp.tables import parse_table, quoted, read_table

DEFAULT_BLOCKS = 30
DEFAULT_ROUNDS = 5
DEFAULT_CYCLES = 9
_CYCLES = (Cycle(), Cycle(third=True))
_TURN_READINGS = 24
RECIPE_KEYS = tuple(READERS)


@dataclass(frozen=True, slots=True)
class StopRule:
    """When the run ends by itself; all None: never."""

    blocks: int | None = DEFAULT_BLOCKS
    duration_s: float | None = None
    until_ohm: float | None = None
    until_relative: float | None = None
    rounds: int | None = None  # of parts on a scanner
    cycles: int | None = None  # of an examined run

    @property
    def has_target(self) -> bool:
        """Whether the run ends at a target uncertainty."""
        return self.until_ohm is not None or self.until_relative is not None

    def target_ohm(self, resistance_ohm: float) -> float:
        """The target uncertainty in ohm at a value; NaN without one."""
        if self.until_relative is not None:
            return self.until_relative * abs(resistance_ohm)
        return float("nan") if self.until_ohm is None else self.until_ohm


@dataclass(frozen=True, slots=True)
class Recipe:
    """One measurement. `range_V` None: from the nominal value where there is one, else automatic."""

    current_A: float
    compliance_V: float = 1.0
    range_V: float | None = None
    nplc: float = 1.0
    line_frequency_Hz: float = 50.0
    settle_s: float = 0.02
    signs: str = DEFAULT_SIGNS  # two readings a sign show a voltage that has not settled
    emf_order: int = 1
    stop: StopRule = StopRule()
    name: str = ""
    serial: str = ""
    nominal_ohm: float | None = None
    low_ohm: float | None = None
    high_ohm: float | None = None
    wanted_estimator: Estimator | None = None
    rule: str = "guarded"
    guard_band: float = 1.0
    confidence: float = 0.95
    stepping: str = "host"  # who makes the steps: the host one by one, or trigger lines between the instruments
    current_shunt_ohm: float | None = None  # the current is measured over this resistor, not believed as set
    temperature_lag_s: float | None = (
        None  # of the specimen behind its thermometer; None: not corrected through the run
    )
    reference_C: float | None = None
    alpha_per_K: float | None = None  # at the reference temperature
    channels: tuple[Channel, ...] = ()  # parts on a scanner, connected in turns; empty without one
    turn_readings: int | None = None  # each time that a part is connected
    channel_settle_s: float = 0.2  # after its contacts have closed, at zero current
    standard_ohm: float | None = None  # certified value of the first part; the others are stated by their ratio to it
    standard_uncertainty_ohm: float = 0.0  # expanded, k = 2
    standard_coefficient_per_K: float = 0.0
    standard_away_K: float = 0.0
    examine: bool = False  # the run looks for what it cannot show at one current: `analysis.examined`
    third_level: bool = False  # and at a quarter of the current
    unattended: bool = False  # the run goes on to its end where the window that began it is gone
    preset: str = ""  # a named set of limits, tighter than the house's

    @property
    def estimator(self) -> Estimator:
        """The one asked for; else consecutive blocks where the run stops on them, and sliding blocks elsewhere.

        Where the signs are irregular no blocks cover as well as the state-space estimate.

        A run that stops at an uncertainty reports the interval that it stopped on: another one would be a surprise, and
        to stop on the interval of sliding blocks would be to stop on luck.
        """
        if self.examine and self.wanted_estimator is None:
            return Estimator.EXAMINED
        if self.wanted_estimator is not None:
            return self.wanted_estimator
        signs = np.array([ord(sign) for sign in self.signs * 2], dtype=float) - ord(",")
        regular = len(self.signs) <= LONGEST_PERIOD or bool(sign_period(signs))
        if self.stop.has_target:
            return Estimator.BLOCKS
        return Estimator.SLIDING if regular else Estimator.STATE_SPACE

    @property
    def readings_a_turn(self) -> int:
        """Readings each time that a part is connected, in whole sequences of signs."""
        return self.turn_readings or len(self.signs) * -(-_TURN_READINGS // len(self.signs))

    @property
    def turns(self) -> int:
        """How often a part is connected; a standard comes once more at the end, so that a drift is seen throughout."""
        return (self.stop.rounds or 0) * len(self.channels) + (self.standard_ohm is not None)

    def channel(self, turn: int) -> Channel:
        """The part of a turn."""
        return self.channels[turn % len(self.channels)]

    @property
    def remarks(self) -> dict[str, object]:
        """What an exported file says in its head, so that its analysis gives the same result."""
        found = {"emf_order": self.emf_order, "aperture_s": self.aperture_s, "estimator": self.estimator}
        return {**found, "third_level": "true"} if self.examine and self.third_level else found

    @property
    def corrects_temperature(self) -> bool:
        """Whether each reading is brought to the reference temperature by the specimen's own of that moment."""
        return self.temperature_lag_s is not None

    def at_reference(self, temperature_C: float) -> float:
        """What brings a current to the reference temperature: R there over R at this one, upside down."""
        if self.reference_C is None or self.alpha_per_K is None:
            return 1.0
        return 1 + self.alpha_per_K * (temperature_C - self.reference_C)

    @property
    def aperture_s(self) -> float:
        """Integration time of one reading."""
        return self.nplc / self.line_frequency_Hz

    @property
    def middle_A(self) -> float:
        """The current about which the sequence is balanced."""
        return middle_of(*sorted(self.ends_A))

    @property
    def ends_A(self) -> tuple[float, float]:
        """The highest and the lowest current."""
        levels = [self.level_A(index) for index in range(2 * self.cycle.readings if self.examine else len(self.signs))]
        return max(levels), min(levels)

    @property
    def cycle(self) -> Cycle:
        """Of an examined run."""
        return _CYCLES[self.third_level]

    def level_A(self, index: int) -> float:
        """The current of reading `index`."""
        if self.examine:
            return self.current_A * self.cycle.part(index)
        sign = self.signs[index % len(self.signs)]
        return 0.0 if sign == "0" else self.current_A if sign == "+" else -self.current_A


Entries = Mapping[str, Entry]


def entries_from_toml(path: Path) -> dict[str, Entry]:
    """The keys of a recipe file. Raises InputError."""
    return _entries(read_table(path), str(path))


def entries_from_text(text: str, file: str) -> dict[str, Entry]:
    """The keys of a recipe text; `file` says in messages where it stands. Raises InputError."""
    return _entries(parse_table(text, file), file)


def _entries(table: Mapping[str, Any], file: str) -> dict[str, Entry]:
    return {key: Entry(value, key, file) for key, value in table.items()}


def build_recipe(entries: Entries) -> Recipe:
    """A recipe from what was written. Raises InputError with all faults at once."""
    values, faults = read_entries(entries)
    if "current" not in entries:
        faults.append(Fault("missing", "", 'Nothing is switched on unasked: write for example "100 mA"', "current"))
    if faults:
        raise InputError(*faults)
    return _assemble(values)


def read_entries(entries: Entries) -> tuple[dict[str, Any], list[Fault]]:
    """The values of some of a recipe's keys, and all that is wrong with them: one validator for all ways in."""
    faults: list[Fault] = []
    values: dict[str, Any] = {}
    for key, entry in entries.items():
        reader = READERS.get(key)
        if reader is None:
            faults.append(entry.fault("unknown", f"Known are {', '.join(READERS)}"))
            continue
        try:
            values[key] = reader(entry)
        except InputError as error:
            faults += error.faults
    return values, faults + contradictions(entries, values)


def recipe_to_toml(recipe: Recipe) -> str:
    """The same recipe as a TOML text that reads back equal."""
    lines = [f"{key} = {quoted(text)}" for key, text in (("name", recipe.name), ("serial", recipe.serial)) if text]
    quantities = [
        ("nominal", recipe.nominal_ohm, "ohm"),
        ("current", recipe.current_A, "A"),
        ("compliance", recipe.compliance_V, "V"),
        ("range", recipe.range_V, "V"),
        ("line_frequency", recipe.line_frequency_Hz, "Hz"),
        ("settle", recipe.settle_s, "s"),
        ("current_shunt", recipe.current_shunt_ohm, "ohm"),
        ("temperature_lag", recipe.temperature_lag_s, "s"),
        ("reference_temperature", recipe.reference_C, "degC"),
        ("temperature_coefficient", recipe.alpha_per_K, "/ K"),
        ("standard", recipe.standard_ohm, "ohm"),
        ("standard_uncertainty", recipe.standard_uncertainty_ohm or None, "ohm"),
        ("standard_coefficient", recipe.standard_coefficient_per_K or None, "/ K"),
        ("standard_away", recipe.standard_away_K or None, "K"),
        ("channel_settle", recipe.channel_settle_s if recipe.channels else None, "s"),
        ("low", recipe.low_ohm, "ohm"),
        ("high", recipe.high_ohm, "ohm"),
        ("duration", recipe.stop.duration_s, "s"),
        ("until", recipe.stop.until_ohm, "ohm"),
    ]
    lines += [f'{key} = "{value!r} {unit}"' for key, value, unit in quantities if value is not None]
    lines += [f"nplc = {recipe.nplc!r}", f'signs = "{recipe.signs}"', f"emf_order = {recipe.emf_order}"]
    if recipe.stop.until_relative is not None:
        lines.append(f'until = "{recipe.stop.until_relative * 1e6!r} ppm"')
    if recipe.stop.blocks is not None:
        lines.append(f"blocks = {recipe.stop.blocks}")
    if recipe.channels:
        lines.append(f"channels = {quoted(', '.join(f'{c.name} = {c.number}' for c in recipe.channels))}")
        lines.append(f"rounds = {recipe.stop.rounds}")
    if recipe.stop.cycles is not None:
        lines.append(f"cycles = {recipe.stop.cycles}")
    lines += ["examine = true"] if recipe.examine else []
    lines += ["third_level = true"] if recipe.third_level else []
    lines += ["unattended = true"] if recipe.unattended else []
    if recipe.turn_readings is not None:
        lines.append(f"turn_readings = {recipe.turn_readings}")
    lines += [f'rule = "{recipe.rule}"', f"guard_band = {recipe.guard_band!r}", f"confidence = {recipe.confidence!r}"]
    if recipe.wanted_estimator is not None:
        lines.append(f'estimator = "{recipe.wanted_estimator}"')
    if recipe.stepping != "host":
        lines.append(f'stepping = "{recipe.stepping}"')
    if recipe.preset:
        lines.append(f'limits = "{recipe.preset}"')
    if recipe.stop == StopRule(None):
        lines.append("endless = true")
    return "\n".join(lines) + "\n"


def _assemble(values: dict[str, Any]) -> Recipe:
    names = {
        "current": "current_A", "compliance": "compliance_V", "range": "range_V", "settle": "settle_s",
        "line_frequency": "line_frequency_Hz", "nominal": "nominal_ohm", "low": "low_ohm", "high": "high_ohm",
        "estimator": "wanted_estimator", "limits": "preset", "current_shunt": "current_shunt_ohm",
        "temperature_lag": "temperature_lag_s", "reference_temperature": "reference_C",
        "temperature_coefficient": "alpha_per_K", "standard": "standard_ohm",
        "standard_uncertainty": "standard_uncertainty_ohm", "standard_coefficient": "standard_coefficient_per_K",
        "standard_away": "standard_away_K", "channel_settle": "channel_settle_s",
    }  # fmt: skip
    chosen = {names.get(key, key): value for key, value in values.items() if key not in STOP_KEYS}
    if any(key in values for key in STOP_KEYS):
        until = values.get("until", Target())
        stop = (
            values.get("blocks"),
            values.get("duration"),
            until.ohm,
            until.relative,
            values.get("rounds"),
            values.get("cycles"),
        )
        chosen["stop"] = StopRule(*stop)
    elif "channels" in values:
        chosen["stop"] = StopRule(None, rounds=DEFAULT_ROUNDS)
    elif values.get("examine"):
        chosen["stop"] = StopRule(None, cycles=DEFAULT_CYCLES)
    return Recipe(**chosen)
