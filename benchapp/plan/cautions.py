"""What a recipe's numbers call to mind before the output goes on.

The thresholds are common practice, no source; local codes come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.plan.prediction import Prediction
from benchapp.quantity import engineering
from benchapp.recipe import Recipe

_HIGH_CURRENT_A = 1.0
_HOT_W = 0.25
_SMALL_VOLTAGE_V = 5e-6
_TOUCH_V = 50.0


@dataclass(frozen=True, slots=True)
class Caution:
    """One plate: a title and what to do."""

    title: str
    text: str


def cautions(recipe: Recipe, prediction: Prediction) -> list[Caution]:
    """The most serious first; empty where the numbers are harmless."""
    found: list[Caution] = []
    if recipe.compliance_V > _TOUCH_V:
        text = (
            f"Open leads can carry up to {engineering(recipe.compliance_V, 'V', 2)}. Connect with the output off,"
            " and leave it to those who are licensed for it where local codes say so."
        )
        found.append(Caution("Dangerous to touch", text))
    if recipe.current_A >= _HIGH_CURRENT_A:
        text = (
            f"At {engineering(recipe.current_A, 'A', 3)} a loose source clamp gets hot, and a part with inductance"
            " gives back its energy when a lead opens. Tighten first; open leads only at zero current."
        )
        found.append(Caution("High current", text))
    if prediction.power_W is not None and prediction.power_W >= _HOT_W:
        text = (
            f"{engineering(prediction.power_W, 'W', 2)} stay in the part: it warms, its resistance moves with it, and"
            " it may be too hot to touch. A smaller current, or a longer wait between runs, helps."
        )
        found.append(Caution("Hot part", text))
    if prediction.voltage_V is not None and prediction.voltage_V < _SMALL_VOLTAGE_V:
        text = (
            f"{engineering(prediction.voltage_V, 'V', 2)} across the part is less than usual thermal EMFs."
            " Expect a long run, keep draughts away, and use more current if the part allows it."
        )
        found.append(Caution("Small voltage, long run", text))
    return found
