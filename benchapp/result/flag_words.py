"""Flags for people: each code has a heading, what is wrong in a few words, and what the operator had best do next."""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple


class Remedy(Enum):
    """What the main button offers where a result is not valid."""

    CHECK_LEADS = "check the leads"
    MEASURE_AGAIN = "measure again"
    CHANGE_RECIPE = "change the recipe"
    SWITCH_OFF = "switch the output off"


class FlagWords(NamedTuple):
    """`heading` stands over a plate, `short` beside a verdict: at most 30 characters."""

    heading: str
    short: str
    remedy: Remedy = Remedy.MEASURE_AGAIN


_LEADS, _RECIPE = Remedy.CHECK_LEADS, Remedy.CHANGE_RECIPE
FLAG_WORDS: dict[str, FlagWords] = {
    "broken-off": FlagWords("The run was broken off", "broken off"),
    "output-not-off": FlagWords("The output was not proved off", "take it for on", Remedy.SWITCH_OFF),
    "compliance": FlagWords("The current did not flow as set", "source at its voltage limit", _LEADS),
    "overload": FlagWords("The voltmeter was outside its range", "voltmeter out of range", _RECIPE),
    "level-refused": FlagWords("The source did not do as told", "source refused a setting", _RECIPE),
    "voltmeter-complained": FlagWords("The voltmeter complained", "voltmeter complained"),
    "ended-early": FlagWords("Ended before its plan", "ended early"),
    "no-interval": FlagWords("Too few blocks", "too few blocks"),
    "open-lead": FlagWords("A sense lead is open", "a sense lead is open", _LEADS),
    "sense-reversed": FlagWords("One pair of leads is exchanged", "leads exchanged", _LEADS),
    "polarity-slip": FlagWords("Readings and current are out of step", "out of step with the source"),
    "resolution-limited": FlagWords("The voltmeter's last digit is too coarse", "range too coarse", _RECIPE),
    "not-settled": FlagWords("The voltage has not settled", "not settled", _RECIPE),
    "self-heating": FlagWords("The specimen warms up", "the specimen warms", _RECIPE),
    "step": FlagWords("R changes in one step", "R jumped", _LEADS),
    "drift-excess": FlagWords("R drifts", "R drifts"),
    "correlated-noise": FlagWords("Neighbouring values hang together", "noise hangs together"),
    "outlier": FlagWords("Single values lie far out", "values lie far out"),
    "range-changed": FlagWords("The noise changes in the run", "noise changes"),
    "mains-pickup": FlagWords("Mains pickup", "mains pickup", _RECIPE),
    "non-ohmic": FlagWords("R is not the same at both signs", "signs differ", _RECIPE),
    "estimates-differ": FlagWords("Two ways to analyse disagree", "estimates differ"),
    "not-checked": FlagWords("The readings were not checked", "not checked"),
    "outlier-limited": FlagWords("Far values are given less weight", "far values weigh less"),
    "current-asymmetry": FlagWords("The currents differ in size", "currents differ"),
    "time-gap": FlagWords("The readings pause", "a pause in the readings"),
    "examined-too-short": FlagWords("Too short to examine itself", "too short to examine"),
    "found-settling": FlagWords("Settling was found", "settling found, corrected"),
    "found-warming": FlagWords("Warming was found", "warming found"),
    "found-even": FlagWords("A part that does not reverse was found", "uneven part found"),
    "found-level": FlagWords("R depends on the current", "R depends on current"),
    "found-following": FlagWords("An EMF follows the current's sign", "EMF follows the sign"),
    "no-ratio": FlagWords("There is no ratio to the standard", "no ratio to the standard"),
    "ratio-moves": FlagWords("The ratio to the standard moves", "the ratio moves", _LEADS),
    "standard-doubtful": FlagWords("The standard is in doubt", "standard in doubt", _LEADS),
    "standard-not-valid": FlagWords("The standard is not valid", "standard not valid", _LEADS),
    "standard-exact": FlagWords("The standard counts as exact", "standard taken as exact"),
    "current-differs": FlagWords("The current is not as set", "current not as set", _RECIPE),
    "source-gain": FlagWords("The source is off", "source off, measured"),
    "thermometer-noise": FlagWords("The thermometer is noisy", "thermometer noise"),
    "calibration-overdue": FlagWords("A calibration is overdue", "calibration overdue"),
    "outside-accuracy-data": FlagWords("Outside the accuracy data", "outside accuracy data"),
    "range-assumed": FlagWords("A range was assumed", "range assumed"),
    "stretch-left-out": FlagWords("A stretch was left out", "a stretch was left out"),
}
