"""Which runs of a logbook are looked for: every word that is given has to fit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from benchapp.errors import Fault, InputError
from benchapp.logbook.query import RunSummary

VERDICTS = ("pass", "fail", "undecided", "doubtful", "not-valid", "none")


@dataclass(frozen=True, slots=True)
class Search:
    """Empty texts let everything through. `name` is a specimen's whole name, `specimen` a part of it; `since` and
    `until` are the first and the last day, of this machine's clock; `words` stand anywhere in number, name, serial,
    operator, bench or end.
    """

    name: str = ""
    specimen: str = ""
    serial: str = ""
    operator: str = ""
    verdict: str = ""
    flag: str = ""
    since: str = ""
    until: str = ""
    words: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Raise InputError for what can never be found."""
        for name in ("since", "until"):
            _day(getattr(self, name), f"--{name}")
        if self.verdict and self.verdict not in VERDICTS:
            raise InputError(
                Fault("no verdict", self.verdict, f"Write one of {', '.join(VERDICTS)}", field="--verdict")
            )

    def lets(self, run: RunSummary) -> bool:
        """Whether a run is among them. One that is damaged always is: nobody is to miss it."""
        if run.damage:
            return True
        recipe = _recipe(run)
        told = {"name": str(recipe.get("name", "")), "serial": str(recipe.get("serial", ""))}
        if self.name and self.name != run.name:
            return False
        operator = str(run.bench.get("operator", ""))
        wanted = ((self.specimen, told["name"]), (self.serial, told["serial"]), (self.operator, operator))
        if any(text and text.lower() not in found.lower() for text, found in wanted):
            return False
        if self.verdict and self.verdict != verdict_of(run):
            return False
        if self.flag and self.flag not in flags_of(run):
            return False
        if not self._in_time(run):
            return False
        bench = " ".join(str(value) for value in run.bench.values())
        hay = f"{run.run_id} {told['name']} {told['serial']} {operator} {bench} {run.status} {run.end_text}".lower()
        return all(word.lower() in hay for word in self.words)

    def _in_time(self, run: RunSummary) -> bool:
        if not self.since and not self.until:
            return True
        try:
            day = datetime.fromisoformat(run.started).astimezone().date().isoformat()
        except ValueError:
            return False
        return (not self.since or day >= self.since) and (not self.until or day <= self.until)


def verdict_of(run: RunSummary) -> str:
    """The gate's word where it is shut or in doubt, else the verdict; none without one. Of several parts the worst."""
    parts = [part for part in run.stated_parts if not part.get("is_standard")]
    gates = [str(part.get("validity")) for part in parts]
    for gate in ("not-valid", "doubtful"):
        if gate in gates:
            return gate
    verdicts = [part.get("verdict") for part in parts]
    return next((word for word in ("fail", "undecided", "pass") if word in verdicts), "none")


def flags_of(run: RunSummary) -> set[str]:
    """Codes of what is said of a run."""
    told: set[str] = set()
    for part in run.stated_parts:
        flags: Any = part.get("flags")
        if isinstance(flags, list):
            told |= {str(flag.get("code")) for flag in flags if isinstance(flag, dict)}
    return told


def _recipe(run: RunSummary) -> dict[str, Any]:
    try:
        return tomllib.loads(run.recipe_toml)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}


def _day(text: str, field: str) -> None:
    if not text:
        return
    try:
        good = datetime.fromisoformat(text).date().isoformat() == text
    except ValueError:
        good = False
    if not good:
        raise InputError(Fault("no day", text, "Write year, month and day, as in 2026-03-01", field=field))
