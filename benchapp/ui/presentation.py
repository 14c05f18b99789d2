"""A snapshot as it is shown: one place that words it, for the stage, the read-out and the logbook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchapp.analysis.decision import Verdict
from benchapp.analysis.estimate import Flag
from benchapp.events import RunStatus
from benchapp.quantity import ShownNumber, prefix_power, scaled_text, shown_number, unit_text
from benchapp.recipe import Recipe
from benchapp.result.budget import Scope
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import NOTES, SCOPES, coverage_in_words, plural
from benchapp.ui.widgets.ruler import RulerReading

_MOST_SHADED = 20
FIRST_BLOCK = 5  # no number before it


@dataclass(frozen=True, slots=True)
class ShownResult:
    """What number, interval, verdict and ruler show.

    `verdict` is empty where the gate is shut: then `gate` says "doubtful" or "not-valid", and `note` why.
    """

    number: ShownNumber | None
    caption: str
    interval: str
    state: str
    verdict: str
    note: str
    provisional: bool
    ruler: RulerReading
    gate: str = ""


def trapped_stretches(flags: Sequence[Flag]) -> list[tuple[float, float]]:
    """What is shaded in the plots: readings that a warning speaks of. A gap holds no readings to shade."""
    shaded = [stretch for flag in flags if flag.severity != "notice" for stretch in flag.where_s]
    return shaded[:_MOST_SHADED]


def emf_slope(stated: Statement | None) -> float:
    """Slope of the thermal EMF in V/s; NaN where there is none yet."""
    return math.nan if stated is None else stated.estimate.thermal_emf_slope_V_per_s


def nominal_power(recipe: Recipe) -> int | None:
    """The prefix that the nominal value sets for the whole run; None without one."""
    return None if recipe.nominal_ohm is None else prefix_power(recipe.nominal_ohm)


def limit_text(value: float | None, power: int) -> str:
    """A limit in the run's prefix, with the places that it needs."""
    if value is None:
        return ""
    for places in range(7):
        text = scaled_text(value, power, places)
        if math.isclose(float(text.replace("−", "-")), value / 10.0**power, rel_tol=1e-9, abs_tol=1e-12):
            return f"{text} {unit_text('ohm', power)}"
    return f"{scaled_text(value, power, 6)} {unit_text('ohm', power)}"


def present(
    stated: Statement | None,
    recipe: Recipe,
    *,
    power: int | None,
    status: RunStatus,
    planned_end: bool,
) -> ShownResult:
    """Words and numbers of a statement; `power` fixes the prefix, None lets it follow the value."""
    R = math.nan if stated is None else stated.resistance_ohm
    blocks = 0 if stated is None else stated.estimate.blocks
    if power is None:
        power = prefix_power(R) if math.isfinite(R) else -6
    elif blocks >= FIRST_BLOCK and abs(R) >= 1000 * 10.0 ** (power + 3):
        power = prefix_power(R)  # off by a thousand or more, as with an open lead
    low_text, high_text = limit_text(recipe.low_ohm, power), limit_text(recipe.high_ohm, power)
    limits = RulerReading(low=recipe.low_ohm, high=recipe.high_ohm, low_text=low_text, high_text=high_text)
    if stated is None or blocks < FIRST_BLOCK or not math.isfinite(stated.expanded_uncertainty_ohm):
        return _nothing(stated, recipe, limits, status, blocks)
    U = stated.expanded_uncertainty_ohm
    number = shown_number(R, stated.standard_uncertainty_ohm, U, "ohm", power)
    places = len(number.digits.partition(".")[2])
    half = scaled_text(U, power, places)
    state = f"{stated.estimate.state}, {plural(blocks, 'block')}"
    if status is RunStatus.PAUSED:
        state += ", paused"
    caption, interval = f"{coverage_in_words(stated)} interval, {SCOPES[stated.scope]}", f"U = {half} {number.unit}"
    if stated.validity is Validity.NOT_VALID:
        # Reason and remedy in the place of what would be believed.
        caption, interval, state = "not valid", "no interval", remedy_of(stated.reasons[0].text)
    valid = stated.validity is Validity.VALID
    number = number if valid else replace(number, certain=0)
    verdict = "" if stated.verdict is None else str(stated.verdict)
    return ShownResult(
        number,
        caption,
        interval,
        state,
        verdict,
        _note(stated, planned_end),
        not planned_end,
        RulerReading(R, U, recipe.low_ohm, recipe.high_ohm, low_text, high_text, verdict),
        "" if valid else str(stated.validity),
    )


def remedy_of(text: str) -> str:
    """The last sentence of a reason: what to do."""
    return text.rstrip(".").rpartition(". ")[2] + "."


def _note(stated: Statement, planned_end: bool) -> str:
    if stated.reasons:
        return stated.reasons[0].code.replace("-", " ")
    if stated.verdict is None:
        return "no limits in the recipe"
    note = NOTES[stated.verdict]
    if not planned_end:
        return f"{note}, so far"
    if stated.scope is Scope.REPEATABILITY and stated.verdict is not Verdict.UNDECIDED:
        return note.replace(" the limits", "") + ", by repeatability"
    return note


def _nothing(
    stated: Statement | None, recipe: Recipe, limits: RulerReading, status: RunStatus, blocks: int
) -> ShownResult:
    state = f"{status}, block {blocks}"
    hint = f"first result at block {FIRST_BLOCK}"
    if status.ended:
        hint = "no result"
    elif status is RunStatus.IDLE:
        state = "nothing measured yet"
    gate, note = "", "" if status.ended else "no result yet"
    if stated is not None and stated.validity is Validity.NOT_VALID:
        gate, note = str(stated.validity), _note(stated, planned_end=True)
    caption = f"{100 * recipe.confidence:.10g} % interval"
    return ShownResult(None, caption, hint, state, "", note, True, limits, gate)
