"""What may not stand together in a recipe, or not alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchapp.errors import Fault
from benchapp.recipe_values import Entry

DEFAULT_SIGNS = "++--"
STOP_KEYS = ("blocks", "duration", "until", "endless", "rounds", "cycles")
_THROUGH = ("temperature_lag", "reference_temperature", "temperature_coefficient")


def contradictions(entries: Mapping[str, Entry], values: Mapping[str, Any]) -> list[Fault]:
    """All that contradicts itself among values that are right each by itself."""
    faults = []
    stops = [key for key in STOP_KEYS if key in entries]
    if len(stops) > 1:
        faults.append(entries[stops[1]].fault(f"stands beside {stops[0]}", f"Choose one of {', '.join(STOP_KEYS)}"))
    if "current_shunt" in values and values.get("stepping") == "lines":
        remedy = 'Write stepping = "host": the second voltmeter is read step by step'
        faults.append(entries["current_shunt"].fault("stands beside steps by trigger lines", remedy))
    through = [key for key in _THROUGH if key in values]
    if through and len(through) < len(_THROUGH):
        missing = ", ".join(key for key in _THROUGH if key not in values)
        remedy = f"Write {missing} beside it: all three correct the temperature through the run"
        faults.append(entries[through[0]].fault("stands alone", remedy))
    faults += _of_channels(entries, values)
    faults += _of_examined(entries, values)
    if values.get("unattended") and values.get("endless"):
        remedy = "Write when the run ends, or leave unattended out: nobody may be there to end it"
        faults.append(entries["unattended"].fault("stands beside endless", remedy))
    low, high = values.get("low"), values.get("high")
    if low is not None and high is not None and low >= high:
        faults.append(entries["low"].fault("is not below the upper limit", "Exchange low and high"))
    return faults


def _of_channels(entries: Mapping[str, Entry], values: Mapping[str, Any]) -> list[Fault]:
    """What does not fit parts on a scanner, or stands there without one."""
    faults = []
    if "channels" not in values:
        remedy = 'Write channels beside it, as in channels = "S = 1, X = 2"'
        alone = [key for key in _OF_CHANNELS if key in values and "channels" not in entries]
        return [entries[key].fault("stands without parts on a scanner", remedy) for key in alone]
    other = [key for key in STOP_KEYS if key in values and key != "rounds"]
    if other:
        remedy = "Write rounds: parts on a scanner are measured in whole rounds"
        faults.append(entries[other[0]].fault("stands beside channels", remedy))
    if values.get("stepping") == "lines":
        remedy = 'Write stepping = "host": the scanner is moved between two readings'
        faults.append(entries["channels"].fault("stands beside steps by trigger lines", remedy))
    length = len(values.get("signs", DEFAULT_SIGNS))
    if values.get("turn_readings", length) % length:
        remedy = f"Write a multiple of {length}, the length of the polarity sequence"
        faults.append(entries["turn_readings"].fault("no whole number of polarity sequences", remedy))
    own = [key for key in _OF_STANDARD if key in values and "standard" not in values and "standard" not in entries]
    remedy = "Write standard, the certified value of the first part"
    return faults + [entries[key].fault("stands without a standard", remedy) for key in own]


_OF_STANDARD = ("standard_uncertainty", "standard_coefficient", "standard_away")
_OF_CHANNELS = ("rounds", "turn_readings", "channel_settle", "standard", *_OF_STANDARD)


def _of_examined(entries: Mapping[str, Entry], values: Mapping[str, Any]) -> list[Fault]:
    """What does not fit a run that examines itself, or stands there without one."""
    if not values.get("examine"):
        remedy = "Write examine = true beside it"
        alone = [key for key in ("cycles", "third_level") if values.get(key)]
        return [entries[key].fault("stands without an examined run", remedy) for key in alone]
    remedies = {
        "channels": "Examine one part at a time",
        "until": "Write cycles or a duration: the fit needs whole cycles",
        "blocks": "Write cycles or a duration: an examined run has no blocks to count",
        "endless": "Write cycles or a duration",
        "signs": "Leave signs out: the cycle has its own",
        "estimator": "Leave estimator out: one fit is made over all readings",
        "temperature_lag": "Examine at a steady temperature",
    }
    found = [key for key in remedies if values.get(key) not in (None, False, DEFAULT_SIGNS)]
    if values.get("stepping") == "lines":
        found, remedies = [*found, "stepping"], {**remedies, "stepping": 'Write stepping = "host"'}
    return [entries[key].fault("stands beside examine", remedies[key]) for key in found]
