"""The fields of a recipe: each key with its label, what it holds when it is left empty, and a note."""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.analysis.estimate import CHOSEN_BY_NAME
from benchapp.recipe_values import PRESETS


@dataclass(frozen=True, slots=True)
class Field:
    """`hint` is shown in an empty field: its usual value, or, with `is_example`, what one may write; `choices` make it
    a list to choose from.
    """

    key: str
    label: str
    hint: str = ""
    note: str = ""
    choices: tuple[str, ...] = ()
    is_example: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under one heading."""

    heading: str
    fields: tuple[Field, ...]


_YES = ("no", "yes")

USUAL = (
    Group(
        "Specimen",
        (
            Field("name", "Name", "Shunt S-17"),
            Field("serial", "Serial"),
            Field("nominal", "Nominal R", "250 uohm", "sets the range"),
        ),
    ),
    Group(
        "What it must be",
        (
            Field("low", "Low limit", "none"),
            Field("high", "High limit", "none"),
            Field("rule", "Decision rule", "guarded", "guarded keeps U off the limits", ("guarded", "simple")),
        ),
    ),
    Group("How sure", (Field("until", "Target U", "none", "in %, ppm or ohm; the run ends there"),)),
    Group(
        "How it is measured",
        (
            Field("current", "Current", "100 mA"),
            Field("compliance", "Compliance", "1 V", "largest voltage of the source"),
            Field("nplc", "Aperture", "1", "power-line cycles"),
            Field("settle", "Settling", "20 ms", "after each reversal"),
            Field("signs", "Polarity sequence", "++--", "or +- or +--+ or +0-0"),
            Field("blocks", "Ends after blocks", "30"),
            Field("duration", "or after", "none", "a time; a target U ends it too"),
        ),
    ),
)

RARE = (
    Group(
        "Instruments",
        (
            Field("range", "Voltmeter range", "from nominal R"),
            Field("line_frequency", "Mains", "50 Hz"),
            Field("current_shunt", "Current over", "not measured", "a standard resistor in series"),
            Field("stepping", "Steps by", "host", "lines: trigger lines between the two", ("host", "lines")),
            Field("limits", "Limits", "the house's", "tighter than the house's", ("", *PRESETS)),
        ),
    ),
    Group(
        "Evaluation",
        (
            Field("emf_order", "EMF drift model", "1", "0 constant, 1 linear, 2 quadratic"),
            Field("estimator", "Estimator", "by the sequence", "", ("", *(str(one) for one in CHOSEN_BY_NAME))),
            Field("confidence", "Coverage", "0.95", "of U"),
            Field("guard_band", "Guard band", "1", "times U, for the guarded rule"),
        ),
    ),
    Group(
        "Temperature",
        (
            Field("reference_temperature", "Reference", "not corrected", "R is stated at it"),
            Field("temperature_coefficient", "Coefficient", "0.0039 / K", "at the reference", is_example=True),
            Field("temperature_lag", "Lag", "10 s", "behind its thermometer", is_example=True),
        ),
    ),
    Group(
        "Several parts, on a scanner",
        (
            Field("channels", "Parts", "N-4 = 1, S-32 = 2", "connected in turns", is_example=True),
            Field("rounds", "Rounds", "5"),
            Field("turn_readings", "Readings a turn", "by the sequence"),
            Field("channel_settle", "After closing", "200 ms"),
            Field("standard", "Standard", "none", "certified R of the first part"),
            Field("standard_uncertainty", "its U, k = 2", "0"),
            Field("standard_coefficient", "its coefficient", "0 / K"),
            Field("standard_away", "away from reference", "0 K"),
        ),
    ),
    Group(
        "The run",
        (
            Field("cycles", "Cycles", "9", "of a run that examines itself"),
            Field("third_level", "Third level", "no", "a quarter of the current, too", _YES),
            Field("unattended", "Unattended", "no", "goes on where the window is gone", _YES),
            Field("endless", "Endless", "no", "until you end it", ("no", "true")),
        ),
    ),
)

FIELDS = {field.key: field for group in (*USUAL, *RARE) for field in group.fields}


def label_of(key: str) -> str:
    """What a recipe's key is called on screen."""
    return FIELDS[key].label if key in FIELDS else key.replace("_", " ")


def unusual(texts: dict[str, str]) -> list[str]:
    """Those of the rare fields that say something else than usual: label and value."""
    rare = [field for group in RARE for field in group.fields]
    given = [(field, texts.get(field.key, "").strip()) for field in rare]
    return [f"{field.label} {text}" for field, text in given if text and _differs(field, text)]


def _differs(field: Field, text: str) -> bool:
    return text != "no" and (field.is_example or text != field.hint)
