"""What was in use when the window was closed: bench, recipe, and who the instruments were."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import datetime

from PySide6.QtCore import QSettings

from benchapp.host.order import BenchChoice
from benchapp.recipe import RECIPE_KEYS
from drivers.plain import plain
from sim.scenario import scenario_names

_KEY = "last"


@dataclass(frozen=True, slots=True)
class Remembered:
    """`identities` by role, as they answered last. What somebody confirmed by hand is not remembered."""

    choice: BenchChoice
    texts: dict[str, str] = field(default_factory=dict)
    identities: dict[str, str] = field(default_factory=dict)
    when: str = ""

    @property
    def when_in_words(self) -> str:
        """Today, yesterday, or the date."""
        try:
            then = datetime.fromisoformat(self.when).astimezone()
        except ValueError:
            return "last"
        days = (datetime.now(then.tzinfo).date() - then.date()).days
        return {0: "earlier today", 1: "yesterday"}.get(days, f"on {then:%Y-%m-%d}")


def remember(settings: QSettings, choice: BenchChoice, texts: dict[str, str], identities: dict[str, str]) -> None:
    """Write it down for the next start."""
    told = {
        "choice": asdict(replace(choice, compliance_by_hand="")),
        "texts": {key: text for key, text in texts.items() if text},
        "identities": identities,
        "when": datetime.now().astimezone().isoformat(),
    }
    settings.setValue(_KEY, json.dumps(told))


def remembered(settings: QSettings) -> Remembered | None:
    """What was written down; None where there is nothing, or nothing that can be understood."""
    try:
        told = json.loads(str(settings.value(_KEY, "") or ""))
        choice, texts, identities = told["choice"], told["texts"], told["identities"]
        known = {one.name for one in fields(BenchChoice)} - {"compliance_by_hand"}
        found = BenchChoice(**{key: plain(str(value)) for key, value in choice.items() if key in known})
        if found.scenario and found.scenario not in scenario_names():
            return None
        return Remembered(
            found,
            {key: str(text) for key, text in texts.items() if key in RECIPE_KEYS},
            {str(role): plain(str(who)) for role, who in identities.items()},
            str(told.get("when", "")),
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
