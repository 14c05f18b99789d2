"""A snapshot as it is shown: one place that words it, for the stage, the read-out and the logbook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchapp.analysis.decision import Verdict
from benchapp.analysis.estimate import Estimate, Flag
from benchapp.events import RunStatus
from benchapp.quantity import ShownNumber, prefix_power, scaled_text, shown_number, unit_text
from benchapp.recipe import Recipe
from benchapp.ui.widgets.ruler import RulerReading

_MOST_SHADED = 20
FIRST_BLOCK = 5  # no number before it
_NOTES = {
    Verdict.PASS: "inside the limits",
    Verdict.FAIL: "outside the limits",
    Verdict.UNDECIDED: "the interval crosses a limit",
}


@dataclass(frozen=True, slots=True)
class ShownResult:
    """What number, interval, verdict and ruler show."""

    number: ShownNumber | None
    caption: str
    interval: str
    state: str
    verdict: str
    note: str
    provisional: bool
    ruler: RulerReading


def trapped_stretches(flags: Sequence[Flag]) -> list[tuple[float, float]]:
    """What is shaded in the plots: readings that a warning speaks of. A gap holds no readings to shade."""
    shaded = [stretch for flag in flags if flag.severity != "notice" for stretch in flag.where_s]
    return shaded[:_MOST_SHADED]


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
    estimate: Estimate,
    verdict: Verdict | None,
    recipe: Recipe,
    *,
    power: int | None,
    status: RunStatus,
    planned_end: bool,
) -> ShownResult:
    """Words and numbers of a result; `power` fixes the prefix, None lets it follow the value."""
    if power is None:
        power = prefix_power(estimate.resistance_ohm) if math.isfinite(estimate.resistance_ohm) else -6
    elif estimate.blocks >= FIRST_BLOCK and abs(estimate.resistance_ohm) >= 1000 * 10.0 ** (power + 3):
        power = prefix_power(estimate.resistance_ohm)  # off by a thousand or more, as with an open lead
    ruler = RulerReading(
        estimate.resistance_ohm,
        estimate.expanded_uncertainty_ohm,
        recipe.low_ohm,
        recipe.high_ohm,
        limit_text(recipe.low_ohm, power),
        limit_text(recipe.high_ohm, power),
        "" if verdict is None else str(verdict),
    )
    R, u, U = estimate.resistance_ohm, estimate.standard_uncertainty_ohm, estimate.expanded_uncertainty_ohm
    if estimate.blocks < FIRST_BLOCK or not u > 0 or not math.isfinite(U):
        state = f"{status}, block {estimate.blocks}"
        hint = f"first result at block {FIRST_BLOCK}"
        if status.ended:
            hint = "no result"
        elif status is RunStatus.IDLE:
            state = "nothing measured yet"
        empty = RulerReading(low=ruler.low, high=ruler.high, low_text=ruler.low_text, high_text=ruler.high_text)
        return ShownResult(None, "95 % interval", hint, state, "", "" if status.ended else "no result yet", True, empty)
    number = shown_number(R, u, U, "ohm", power)
    places = len(number.digits.partition(".")[2])
    low, high, half = (scaled_text(value, power, places) for value in (R - U, R + U, U))
    state = f"{estimate.state}, {estimate.blocks} blocks"
    if status is RunStatus.PAUSED:
        state += ", paused"
    note = "no limits in the recipe"
    if verdict is not None:
        note = _NOTES[verdict] + ("" if planned_end else ", so far")
    return ShownResult(
        number,
        f"95 % interval, ± U = ± {half} {number.unit}",
        f"{low} … {high} {number.unit}",
        state,
        "" if verdict is None else str(verdict),
        note,
        not planned_end,
        ruler,
    )
