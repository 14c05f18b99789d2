"""A snapshot as it is shown: one place that words it, for the stage, the read-out and the logbook."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from benchapp.analysis.decision import Verdict
from benchapp.analysis.estimate import Flag
from benchapp.events import RunStatus
from benchapp.plan.deciding import WouldDecide
from benchapp.quantity import ShownNumber, engineering, prefix_power, scaled_text, shown_number, unit_text
from benchapp.recipe import Recipe
from benchapp.result.budget import Scope
from benchapp.result.decision import percent
from benchapp.result.flag_words import FLAG_WORDS, FlagWords, Remedy
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.result.words import NOTES, coverage_in_words

_MOST_SHADED = 20
FIRST_BLOCK = 5  # no number before it


class Trust(StrEnum):
    """The four states of a headline, and that in which there is nothing to show."""

    ALL = "all"  # valid, all contributions known: bold is earned by accuracy data
    REPEATABILITY = "repeatability"  # valid, but the instruments' accuracy is not known
    DOUBTFUL = "doubtful"
    NOT_VALID = "not-valid"
    NOTHING = ""


@dataclass(frozen=True, slots=True)
class RulerReading:
    """All in ohm; NaN half-width: no interval yet. The guard band of the verdict's rule is one half-width."""

    estimate: float = math.nan
    half_width: float = math.nan
    low: float | None = None
    high: float | None = None
    low_text: str = ""
    high_text: str = ""
    verdict: str = ""
    trust: str = ""  # as of `Trust`
    deciding: str = ""  # what would decide


@dataclass(frozen=True, slots=True)
class ShownResult:
    """What number, interval, verdict and ruler show.

    `shares` are parts of u squared by what they come from, the scatter first; `verdict` is what the numbers say, also
    where the result is in doubt; `note` stands under its word. `reason` heads what is wrong, `remedy` is what the main
    button offers then.
    """

    number: ShownNumber | None
    trust: Trust
    caption: str
    interval: str
    basis: str
    shares: tuple[tuple[str, float], ...]
    verdict: str
    note: str
    provisional: bool
    ruler: RulerReading
    reason: str = ""
    remedy: Remedy | None = None
    power: int = 0

    @property
    def places(self) -> int:
        """After the point, for all that stands beside the number."""
        return 0 if self.number is None else len(self.number.digits.partition(".")[2])


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
    deciding: WouldDecide | None = None,
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
    trust = trust_in(stated)
    number = shown_number(R, stated.standard_uncertainty_ohm, U, "ohm", power)
    if trust in (Trust.DOUBTFUL, Trust.NOT_VALID):
        number = replace(number, certain=0)
    places = len(number.digits.partition(".")[2])
    half = f"{scaled_text(U, power, places)} {number.unit}"
    caption = f"{coverage_in_words(stated)} interval, {_SCOPES[trust]}"
    interval = f"{scaled_text(R - U, power, places)} … {scaled_text(R + U, power, places)} {number.unit}"
    shares = _shares(stated)
    basis = f"U {half}, {_mostly(shares, trust)}"
    if trust is Trust.DOUBTFUL:
        basis = f"U {half}, {words_of(stated.reasons[0].code).short}"
    if trust is Trust.NOT_VALID:
        caption, interval, basis = "no interval", f"scatter ± {half}", "how far it is off is not known"
    if status is RunStatus.PAUSED:
        basis = "paused: no current flows"
    verdict = "" if stated.decision is None else str(stated.decision.verdict)
    reason = stated.reasons[0] if stated.reasons else None
    return ShownResult(
        number,
        trust,
        caption,
        interval,
        basis,
        shares,
        verdict,
        _note(stated, planned_end),
        not planned_end,
        RulerReading(
            R,
            U,
            recipe.low_ohm,
            recipe.high_ohm,
            low_text,
            high_text,
            verdict,
            str(trust),
            "" if deciding is None else deciding_in_words(deciding, power, number.unit),
        ),
        "" if reason is None else words_of(reason.code).heading,
        words_of(reason.code).remedy if reason is not None and trust is Trust.NOT_VALID else None,
        power,
    )


def deciding_in_words(found: WouldDecide, power: int, unit: str) -> str:
    """When a verdict is to be expected, and what would bring it sooner."""
    U = f"U {scaled_text(found.U_ohm, power, _places(found.U_ohm, power))} {unit}"
    if math.isinf(found.time_to_go_s):
        floor = f"{scaled_text(found.floor_ohm, power, _places(found.floor_ohm, power))} {unit}"
        return f"Would decide: {U}; no time suffices, what is not scatter leaves U {floor}"
    text = f"Would decide: {U}, in about {duration_text(found.time_to_go_s)}, at block {found.block}"
    if math.isfinite(found.current_A):
        text += f"; at {engineering(found.current_A, 'A', 2)} {duration_text(found.time_there_s)} from a new start"
    return text


def _places(size: float, power: int) -> int:
    """After the point, for two digits of a size."""
    return max(0, 1 - math.floor(math.log10(size) - power)) if size > 0 else 0


def duration_text(seconds: float) -> str:
    """A time to come, no finer than it can be known: 40 s, 6 min, 2 h 10 min."""
    if seconds < 90:
        return f"{max(0, round(seconds))} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


_SCOPES = {
    Trust.ALL: "all contributions",
    Trust.REPEATABILITY: "repeatability only",
    Trust.DOUBTFUL: "in doubt",
    Trust.NOT_VALID: "",
}
_SOURCES = {
    "repeatability": "scatter",
    "voltmeter": "the voltmeter",
    "source": "the source",
    "current": "the measured current",
    "specimen": "the temperature",
    "temperature": "the temperature",
    "resolution": "the voltmeter",
}


def trust_in(stated: Statement) -> Trust:
    """Which of the four states a statement is shown in."""
    if stated.validity is Validity.VALID:
        return Trust.ALL if stated.scope is Scope.ALL else Trust.REPEATABILITY
    return Trust.DOUBTFUL if stated.validity is Validity.DOUBTFUL else Trust.NOT_VALID


def words_of(code: str) -> FlagWords:
    """The words of a flag; of one that an older record holds, its code."""
    plain = code.replace("-", " ")
    return FLAG_WORDS.get(code, FlagWords(plain.capitalize(), plain))


def _shares(stated: Statement) -> tuple[tuple[str, float], ...]:
    """Parts of u squared by where they come from, the scatter first, then the largest."""
    found: dict[str, float] = {"scatter": 0.0}
    for row in () if stated.budget is None else stated.budget.contributions:
        name = _SOURCES.get(row.name.split()[0], row.name)
        if row.share > 0:
            found[name] = found.get(name, 0.0) + row.share
    scatter = found.pop("scatter")
    return (("scatter", scatter), *sorted(found.items(), key=lambda item: -item[1]))


def _mostly(shares: tuple[tuple[str, float], ...], trust: Trust) -> str:
    if trust is Trust.REPEATABILITY:
        return "accuracy not known"
    name, share = max(shares, key=lambda item: item[1])
    return f"{'nearly all' if share > _NEARLY_ALL else 'mostly' if share > 0.5 else 'most of it'} {name}"


def told_apart(text: str) -> tuple[str, str]:
    """A reason's sentences: what is wrong, and the last one, which says what to do."""
    what, _, remedy = text.rstrip(".").rpartition(". ")
    return (f"{what}.", f"{remedy}.") if what else (f"{remedy}.", "")


def _note(stated: Statement, planned_end: bool) -> str:
    """Under the verdict's word: by what right, or why not."""
    so_far = "" if planned_end else ", so far"
    decision = stated.decision
    if stated.reasons:
        short = words_of(stated.reasons[0].code).short
        would = stated.validity is Validity.DOUBTFUL and decision is not None and decision.verdict in _WOULD
        return f"{_WOULD[decision.verdict]}, but {short}" if would and decision is not None else short
    if decision is None:
        return "no limits in the recipe"
    if decision.verdict is Verdict.UNDECIDED:
        leaning = NOTES[decision.verdict] if decision.leans_to is None else f"leans to {decision.leans_to}"
        return leaning + so_far
    if stated.scope is Scope.REPEATABILITY:
        return "by repeatability" + so_far
    return f"risk {percent(decision.specific_risk)}" if planned_end else f"{NOTES[decision.verdict]}{so_far}"


_WOULD = {Verdict.PASS: "would pass", Verdict.FAIL: "would fail"}
_NEARLY_ALL = 0.9


def _nothing(
    stated: Statement | None, recipe: Recipe, limits: RulerReading, status: RunStatus, blocks: int
) -> ShownResult:
    basis = f"{status}, block {blocks}"
    hint = f"first result at block {FIRST_BLOCK}"
    if status.ended:
        hint = "no result"
    elif status is RunStatus.IDLE:
        basis = "nothing measured yet"
    trust, note, reason, remedy = Trust.NOTHING, "" if status.ended else "no result yet", "", None
    if stated is not None and stated.validity is Validity.NOT_VALID:
        words = words_of(stated.reasons[0].code)
        trust, note, reason, remedy = Trust.NOT_VALID, words.short, words.heading, words.remedy
        limits = replace(limits, trust=str(trust))
    caption = f"{100 * recipe.confidence:.10g} % interval"
    return ShownResult(None, trust, caption, hint, basis, (), "", note, True, limits, reason, remedy)
