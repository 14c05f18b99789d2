"""The gate between estimate and verdict: what each flag does to a result, in one table.

notice     said, nothing more
doubtful   the value is shown faint and the verdict is provisional, with the reason; no probability is stated
not valid  no verdict, no risk; the value is struck out, and reason and remedy stand in its place
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from benchapp.analysis.estimate import Estimate, Flag
from benchapp.events import EndReason, RunEnd


class Validity(StrEnum):
    """Whether a result may carry a verdict."""

    VALID = "valid"
    DOUBTFUL = "doubtful"
    NOT_VALID = "not-valid"


class Effect(StrEnum):
    """What a flag does."""

    NOTICE = "notice"
    DOUBTFUL = "doubtful"
    NOT_VALID = "not valid"
    BY_SIZE = "not valid where it is larger than U, else doubtful"


EFFECTS: dict[str, Effect] = {
    # the run
    "broken-off": Effect.NOT_VALID,
    "output-not-off": Effect.NOT_VALID,
    "compliance": Effect.NOT_VALID,
    "overload": Effect.NOT_VALID,
    "level-refused": Effect.NOT_VALID,
    "voltmeter-complained": Effect.DOUBTFUL,
    "ended-early": Effect.DOUBTFUL,
    "no-interval": Effect.DOUBTFUL,
    # the readings
    "open-lead": Effect.NOT_VALID,
    "sense-reversed": Effect.NOT_VALID,
    "polarity-slip": Effect.NOT_VALID,
    "resolution-limited": Effect.NOT_VALID,
    "not-settled": Effect.NOT_VALID,
    "self-heating": Effect.BY_SIZE,
    "step": Effect.DOUBTFUL,
    "drift-excess": Effect.DOUBTFUL,
    "correlated-noise": Effect.DOUBTFUL,
    "outlier": Effect.DOUBTFUL,
    "range-changed": Effect.DOUBTFUL,
    "mains-pickup": Effect.DOUBTFUL,
    "non-ohmic": Effect.DOUBTFUL,
    "estimates-differ": Effect.DOUBTFUL,
    "not-checked": Effect.DOUBTFUL,
    "outlier-limited": Effect.NOTICE,
    "current-asymmetry": Effect.NOTICE,
    "time-gap": Effect.NOTICE,
    # an examined run
    "examined-too-short": Effect.DOUBTFUL,
    "found-settling": Effect.NOTICE,
    "found-warming": Effect.NOTICE,
    "found-even": Effect.NOTICE,
    "found-level": Effect.NOTICE,
    "found-following": Effect.NOTICE,
    # a standard that was connected in turns with the part
    "no-ratio": Effect.DOUBTFUL,
    "ratio-moves": Effect.DOUBTFUL,
    "standard-doubtful": Effect.DOUBTFUL,
    "standard-not-valid": Effect.NOT_VALID,
    "standard-exact": Effect.NOTICE,
    # what is known beside
    "current-differs": Effect.DOUBTFUL,
    "source-gain": Effect.NOTICE,
    "thermometer-noise": Effect.NOTICE,
    "calibration-overdue": Effect.DOUBTFUL,
    "outside-accuracy-data": Effect.NOTICE,
    "range-assumed": Effect.NOTICE,
    "stretch-left-out": Effect.NOTICE,
}
_SMALL = 0.2
_BROKEN = (EndReason.INSTRUMENT, EndReason.LIMIT, EndReason.RECORD, EndReason.BUG)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a result is doubtful or not valid: the flag's code, for files, and its sentences, for people."""

    code: str
    validity: Validity
    text: str


def judge(flags: Iterable[Flag], expanded_uncertainty_ohm: float) -> tuple[Validity, tuple[Reason, ...]]:
    """The gate: the gravest effect of all flags, and the reasons, the gravest first. Notices are no reasons."""
    reasons = []
    for flag in flags:
        validity = _effect_on(flag, expanded_uncertainty_ohm)
        if validity is not Validity.VALID:
            reasons.append(Reason(flag.code, validity, flag.text))
    # What may hurt somebody comes before all else.
    reasons.sort(key=lambda reason: (reason.code != "output-not-off", reason.validity is not Validity.NOT_VALID))
    return (reasons[0].validity if reasons else Validity.VALID), tuple(reasons)


def _effect_on(flag: Flag, U: float) -> Validity:
    effect = EFFECTS[flag.code]
    if effect is Effect.BY_SIZE:
        small = flag.size_ohm is not None and flag.size_ohm <= U
        return Validity.DOUBTFUL if small else Validity.NOT_VALID
    if effect is Effect.NOTICE:
        return Validity.VALID
    return Validity.DOUBTFUL if effect is Effect.DOUBTFUL else Validity.NOT_VALID


def flags_of_end(end: RunEnd, *, endless: bool) -> list[Flag]:
    """What the way in which a run ended says of its result."""
    flags = []
    if end.reason is EndReason.COMPLIANCE:
        flags.append(Flag("compliance", "stop", end.text))
    elif end.reason in _BROKEN:
        flags.append(Flag("broken-off", "stop", f"The run was broken off ({end.reason}): {end.text}"))
    elif end.reason is EndReason.OPERATOR and not endless:
        text = f"The run ended before its plan was fulfilled: {end.text.rstrip('.')}. Measure to the end for a verdict."
        flags.append(Flag("ended-early", "warning", text))
    elif end.reason is EndReason.UNREACHABLE:
        flags.append(Flag("ended-early", "warning", end.text))
    if not end.output_off:
        text = (
            "The source's output was not proved off when the run ended: take it for on. Press OFF (Esc) until it reads"
            " off; else switch the source off at its front panel or its plug before you touch the circuit."
        )
        flags.append(Flag("output-not-off", "stop", text))
    return flags


def flags_of_complaints(source: Iterable[str], voltmeter: Iterable[str]) -> list[Flag]:
    """What the instruments' own errors in the middle of a run say of its result."""
    flags = []
    for code, severity, who, texts in (
        ("level-refused", "stop", "source", list(source)),
        ("voltmeter-complained", "warning", "voltmeter", list(voltmeter)),
    ):
        if texts:
            more = f" (and {len(texts) - 1} more)" if len(texts) > 1 else ""
            text = (
                f"The {who} reported {texts[0].rstrip('.')}{more} in the middle of the run: it may not have done what"
            )
            text += " it was told. Look up its error, mend the setting, and measure again."
            flags.append(Flag(code, severity, text))
    return flags


def flag_of_unsettled(text: str) -> Flag:
    """The voltage still moved while each sign was held before the run."""
    told = f"Before the run each sign was held: {text}. Wait longer after each reversal, or mend what settles slowly."
    return Flag("not-settled", "stop", told)


def of_thermometer(flag: Flag, repeatability: float, by_temperature: float) -> Flag:
    """A memory of the values that is the noise of the thermometer which corrects them, and counts as that.

    Both are standard uncertainties in ohm; other flags, and a memory that is not small, stay as they are.
    """
    if flag.code != "correlated-noise" or repeatability > _SMALL * by_temperature:
        return flag
    text = (
        "The values follow the noise of the thermometer that corrects them. It is small beside what is not known of the"
        " specimen's temperature, which the budget holds."
    )
    return Flag("thermometer-noise", "notice", text)


def flags_of_interval(estimate: Estimate) -> list[Flag]:
    """A value without an interval carries no verdict."""
    if estimate.standard_uncertainty_ohm > 0:
        return []
    return [Flag("no-interval", "warning", "There are too few blocks for an interval. Measure longer.")]
