"""What the operator has chosen, shared by the stages: the recipe as typed, and the bench."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from benchapp.bench.limits import LimitExceeded, load_limits
from benchapp.errors import InputError
from benchapp.files import replacing
from benchapp.host.order import BenchChoice
from benchapp.recipe import (
    RECIPE_KEYS,
    Recipe,
    build_recipe,
    entries_from_text,
    entries_from_toml,
    recipe_to_toml,
)
from benchapp.recipe_rules import STOP_KEYS
from benchapp.recipe_values import Entry
from benchapp.tables import quoted
from sim.scenario import load_scenario

_PLANNED = (
    *("nominal", "current", "compliance", "range", "nplc", "settle", "signs", "emf_order"),
    *("duration", "cycles", "examine"),
)


class RecipeModel(QObject):
    """Texts by recipe key; `recipe` is None while there are faults.

    Signals:
        changed: a text is another now.
    """

    changed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.texts: dict[str, str] = {}
        self.recipe: Recipe | None = None
        self.faults: dict[str, str] = {}
        self.path: Path | None = None
        self.planned: frozenset[str] = frozenset()  # keys that a plan has filled and nobody has changed since
        self._check()

    def set_text(self, key: str, text: str) -> None:
        """One field as typed; an empty one counts as not given."""
        if self.texts.get(key, "") != text:
            self.texts[key] = text
            self.planned -= {key}
            self._check()
            self.changed.emit()

    def set_examined(self, *, on: bool) -> None:
        """Whether the run examines itself; its cycle and its end take the place of sequence and stop rule."""
        texts = {key: text for key, text in self.texts.items() if key not in ("examine", "third_level", "cycles")}
        if on:
            texts = {key: text for key, text in texts.items() if key not in (*STOP_KEYS, "signs", "estimator")}
            texts["examine"] = "yes"
        self.take(texts, self.path)

    @property
    def examined(self) -> bool:
        """Whether it does."""
        return self.texts.get("examine", "").strip().lower() in ("yes", "true")

    def take_planned(self, recipe: Recipe) -> None:
        """What a plan has found; name, limits and all that it does not decide stay."""
        found = {key: str(entry.value) for key, entry in entries_from_text(recipe_to_toml(recipe), "plan").items()}
        planned = {key: found[key] for key in _PLANNED if key in found}
        if self.recipe is not None and self.recipe.nominal_ohm == recipe.nominal_ohm:
            planned["nominal"] = self.texts["nominal"]  # as it was typed
        kept = {key: text for key, text in self.texts.items() if key not in (*_PLANNED, *STOP_KEYS, "third_level")}
        self.take({**kept, **planned}, self.path, frozenset(planned) - {"nominal"})

    def take(self, texts: dict[str, str], path: Path | None = None, planned: frozenset[str] = frozenset()) -> None:
        """Another recipe altogether; `planned`: the keys of it that a plan has filled."""
        self.texts = dict(texts)
        self.planned = planned
        self.path = path
        self._check()
        self.changed.emit()

    def open(self, path: Path) -> None:
        """Read a recipe file. Raises InputError where it is no TOML or has unknown keys."""
        entries = entries_from_toml(path)
        unknown = [entry.fault("unknown", "Remove it") for key, entry in entries.items() if key not in RECIPE_KEYS]
        if unknown:
            raise InputError(*unknown)
        self.take({key: str(entry.value) for key, entry in entries.items()}, path)

    def take_text(self, toml: str) -> None:
        """The recipe of a recorded run."""
        self.take({key: str(entry.value) for key, entry in entries_from_text(toml, "logbook").items()})

    def save(self, path: Path) -> None:
        """Write the texts as they stand. Raises InputError."""
        with replacing(path, "recipe") as stream:
            for key in RECIPE_KEYS:
                text = self.texts.get(key, "").strip()
                if text:
                    stream.write(f"{key} = {quoted(text)}\n")
        self.path = path
        self.changed.emit()

    def _check(self) -> None:
        given = {key: Entry(text.strip(), key) for key, text in self.texts.items() if text.strip()}
        try:
            self.recipe, self.faults = build_recipe(given), {}
            load_limits().check(self.recipe)
        except LimitExceeded as error:
            # The recipe stands; it is the house that refuses it, here and again before anything is switched on.
            self.faults = {error.field: str(error)}
        except InputError as error:
            self.recipe = None
            self.faults = {fault.field: f"{fault.problem}. {fault.remedy}" for fault in error.faults}


class BenchModel(QObject):
    """The bench in use.

    Signals:
        changed: another bench, or another address.
    """

    changed = Signal()

    def __init__(self, scenario: str = "") -> None:
        super().__init__()
        self.choice = BenchChoice(scenario)

    def choose(self, choice: BenchChoice) -> None:
        """Take another bench."""
        if choice != self.choice:
            self.choice = choice
            self.changed.emit()

    def change(self, **values: str) -> None:
        """Change a part of the choice."""
        self.choose(replace(self.choice, **values))


def about_scenario(name: str) -> str:
    """What is on a simulated bench, and what one should see there."""
    scenario = load_scenario(name)
    return f"{scenario.title}.\n\n{scenario.lesson}" if scenario.lesson else scenario.title


def scenario_texts(name: str) -> dict[str, str]:
    """The recipe that a simulated bench suggests, as texts."""
    return {key: str(value) for key, value in load_scenario(name).recipe.items()}
