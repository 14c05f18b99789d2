"""The capabilities of a dialect file: each spelling read and checked, most strictly where a current could go astray."""

from __future__ import annotations

import math
import re
from dataclasses import fields
from typing import Any

from drivers.dialect.fields import LONGEST_WAIT_S, Fields
from drivers.dialect.model import (
    ENCODINGS,
    ITEMS,
    KINDS,
    REQUIRED,
    ROUNDINGS,
    STATUSES,
    VALUE_KINDS,
    Spelling,
)
from drivers.dialect.suffix import suffix_is_plain, suffix_is_safe

_MOST_COUNTS = 2**31
_NEVER_ROUNDED = ("level", "compliance")
_LARGEST_RTOL = 0.01
_LARGEST_ATOL = 0.1  # in A and V
_HIGHEST_FIXED_V = 1e4
_UNITS = (1e-3, 1.0, 1e3, 1e6, 1e9)  # kilo, one, milli, micro, nano
_REGISTER_BITS = 32
_LARGEST_MASK = 2**_REGISTER_BITS - 1
_DRAIN_PLACES = ("{first}", "{last}", "{count}", "{value}")
_PLACE = re.compile(r"\{\w*\}")


class CapabilityFields(Fields):
    """Reads the tables [cap.NAME]."""

    def capabilities(self, caps: object, kind: str, kinds: list[str]) -> dict[str, tuple[Spelling, ...]]:
        """The spellings of each capability that the role knows; `kinds` are all roles of the file."""
        if not isinstance(caps, dict):
            self.fault("cap", caps, "Write tables [cap.NAME]")
            return {}
        others = frozenset().union(*(KINDS[other] for other in kinds if other in KINDS))
        self.known("cap", caps, KINDS[kind], also=others)
        for name in REQUIRED[kind]:
            if name not in caps:
                self.fault(f"cap.{name}", None, f"A {kind} needs it; write [cap.{name}]")
        found = {name: self._spellings(f"cap.{name}", value) for name, value in caps.items() if name in KINDS[kind]}
        for name in _NEVER_ROUNDED:
            for spelling in found.get(name, ()):
                self._check_exact(f"cap.{name}", spelling)
        return found

    def _check_exact(self, where: str, s: Spelling) -> None:
        """A current or a compliance that is another one than asked would pass the house limits unseen.

        A compliance may come in steps: the next lower one is taken.
        """
        steps = where.startswith("cap.compliance")
        if s.kind != "number" and not (steps and s.kind == "index"):
            self.fault(f"{where}.kind", s.kind, 'Write kind = "number"')
        if s.rounds != "exact" and not (steps and s.rounds == "down"):
            self.fault(f"{where}.rounds", s.rounds, "Leave it out: this must read back as it was set")
        after = s.set.partition("{value}")[2]
        if not suffix_is_safe(after, s.scale, "V" if steps else "A"):
            # "CURR {value}E3" would carry a current past the house limits.
            remedy = "After {value} write a unit that fits scale, a channel such as (@1), or a letter that executes"
            self.fault(f"{where}.set", s.set, remedy)
        if s.counts and steps:
            self.fault(f"{where}.counts", s.counts, "Only a level counts in parts of its range")
        if (s.fixed or s.by_hand) and not steps:
            self.fault(f"{where}.fixed", s.fixed, "Only a compliance is fixed, or set by hand")
        if s.rtol > _LARGEST_RTOL:
            self.fault(f"{where}.rtol", s.rtol, f"Write {_LARGEST_RTOL:g} at most")
        if s.atol > _LARGEST_ATOL:
            self.fault(f"{where}.atol", s.atol, f"Write {_LARGEST_ATOL:g} at most: the last digit of the instrument")
        if s.scale not in _UNITS:
            names = "0.001 for kilo, 1, 1000 for milli, 1e6 for micro, 1e9 for nano"
            self.fault(f"{where}.scale", s.scale, f"Write the unit that the instrument counts in: {names}")

    def _spellings(self, where: str, value: object) -> tuple[Spelling, ...]:
        entries = value if isinstance(value, list) else [value]
        found = []
        for index, entry in enumerate(entries):
            place = f"{where}[{index}]" if len(entries) > 1 else where
            if isinstance(entry, dict):
                found.append(self._spelling(place, entry))
            else:
                self.fault(place, entry, "Write a table with set and get")
        return tuple(found)

    def _spelling(self, where: str, entry: dict[str, Any]) -> Spelling:
        defaults = Spelling()
        names = {field.name for field in fields(Spelling)}
        self.known(where, entry, names | {"rounds_up"})
        values: dict[str, Any] = {}
        for name in names - {"reply", "before", "table", "rounds"}:
            default = getattr(defaults, name)
            values[name] = self.typed(f"{where}.{name}", entry.get(name, default), type(default), default)
        values["reply"] = self.pattern(f"{where}.reply", entry.get("reply"))
        before = entry.get("before", [])
        values["before"] = self.messages(f"{where}.before", [before] if isinstance(before, str) else before)
        values["table"] = self.numbers(f"{where}.table", entry.get("table", []))
        up = self.typed(f"{where}.rounds_up", entry.get("rounds_up", False), bool, False)
        values["rounds"] = self.word(entry, where, "rounds", "up" if up else "exact", ROUNDINGS)
        spelling = Spelling(**values)
        self._check(where, spelling)
        return spelling

    def _check(self, where: str, s: Spelling) -> None:
        for name, word, words in (("kind", s.kind, VALUE_KINDS), ("status", s.status, STATUSES)):
            if word not in words:
                self.fault(f"{where}.{name}", word, f"Write one of {', '.join(w for w in words if w)}")
        if s.encoding not in ENCODINGS:
            self.fault(f"{where}.encoding", s.encoding, f"Write one of {', '.join(ENCODINGS)}")
        if s.items not in ITEMS:
            self.fault(f"{where}.items", s.items, f"Write one of {', '.join(ITEMS)}")
        if not (0 <= s.mask <= _LARGEST_MASK and 0 <= s.bit < _REGISTER_BITS):
            self.fault(f"{where}.mask", s.mask, f"Write bits 0 to {_REGISTER_BITS - 1} of a register")
        if any(place not in _DRAIN_PLACES for place in _PLACE.findall(s.get)):
            self.fault(f"{where}.get", s.get, f"The places are {', '.join(_DRAIN_PLACES)}, and {{value}} of a channel")
        if s.limits not in ("clamp", "trip", "unknown"):
            self.fault(f"{where}.limits", s.limits, "Write clamp, trip or unknown")
        if not 0 <= s.counts <= _MOST_COUNTS or (s.counts and s.scale != 1.0):
            self.fault(f"{where}.counts", s.counts, "Write the counts of a full range, without a scale")
        if not 0 <= s.fixed <= _HIGHEST_FIXED_V or (s.fixed and s.by_hand):
            self.fault(f"{where}.fixed", s.fixed, "Write the volts that the make fixes, or by_hand = true")
        if (s.fixed or s.by_hand) and s.set:
            self.fault(f"{where}.set", s.set, "Leave it out where the compliance is fixed or set by hand")
        if not s.settable and not s.get and not (s.fixed or s.by_hand or s.listen):
            self.fault(where, None, "Write set, get or both")
        if bool(s.on_set) != bool(s.off_set):
            self.fault(f"{where}.on_set", s.on_set or s.off_set, "Write on_set and off_set together")
        if s.set.replace("{value}", "").count("{"):
            self.fault(f"{where}.set", s.set, "The only placeholder is {value}")
        if s.set and s.kind in ("number", "bool", "index", "channel", "list") and "{value}" not in s.set:
            self.fault(f"{where}.set", s.set, "Write {value} where the value goes")
        elif not suffix_is_plain(s.set.partition("{value}")[2]):
            self.fault(f"{where}.set", s.set, "After {value} let no digit, exponent or second message stand")
        if not (s.scale > 0 and math.isfinite(s.scale)):
            self.fault(f"{where}.scale", s.scale, "Write a number above 0")
        if s.kind == "index" and not s.table:
            self.fault(f"{where}.table", None, "Write the values in order, as in table = [0.001, 0.01, 0.1]")
        if s.low > s.high:
            self.fault(f"{where}.low", s.low, "Write a value below high")
        for name, value in (("rtol", s.rtol), ("atol", s.atol)):
            if not 0 <= value < math.inf:
                self.fault(f"{where}.{name}", value, "Write a number, 0 or more")
        for name, value in (("settle_s", s.settle_s), ("timeout_s", s.timeout_s)):
            if not 0 <= value <= LONGEST_WAIT_S:
                self.fault(f"{where}.{name}", value, f"Write seconds from 0 to {LONGEST_WAIT_S:g}")
