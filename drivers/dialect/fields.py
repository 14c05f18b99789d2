"""Values of a user's file by key and type; whatever is wrong is noted with file, key, value and remedy."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from drivers.dialect.pattern import Pattern, PatternError, compile_pattern
from drivers.errors import DialectError
from drivers.plain import plain, shortened

LONGEST_WAIT_S = 600.0  # a voltmeter's longest aperture; whoever waits looks at the orders meanwhile
_MOST_TOLD = 50  # faults of one file
_WORDS = {str: "a text in quotes", float: "a number", int: "a whole number", bool: "true or false"}


class Fields:
    """Reads values and gathers all faults of one file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._faults: list[str] = []

    def raise_faults(self) -> None:
        """Raise DialectError with all that was noted."""
        if self._faults:
            raise DialectError("\n".join(self._faults))

    def pattern(self, where: str, source: object) -> Pattern | None:
        """How a reply is read, from its text."""
        if source is None:
            return None
        if not isinstance(source, str):
            self.fault(where, source, "Write a text in quotes")
            return None
        try:
            return compile_pattern(source)
        except PatternError as error:
            self.fault(where, source, str(error))
            return None

    def numbers(self, where: str, value: object) -> tuple[float, ...]:
        """A list of numbers."""
        if isinstance(value, list) and all(isinstance(x, int | float) and not isinstance(x, bool) for x in value):
            return tuple(map(_float, value))
        self.fault(where, value, "Write a list of numbers")
        return ()

    def messages(self, where: str, value: object) -> tuple[str, ...]:
        """A list of texts."""
        if isinstance(value, list) and all(isinstance(text, str) for text in value):
            return tuple(value)
        self.fault(where, value, "Write a list of texts")
        return ()

    def table(self, table: dict[str, Any], name: str, keys: set[str]) -> dict[str, Any]:
        """A section; empty where it is missing or none."""
        value = table.get(name, {})
        if not isinstance(value, dict):
            self.fault(name, value, f"Write a table [{name}]")
            return {}
        self.known(name, value, keys)
        return value

    def get(self, section: dict[str, Any], where: str, key: str, default: Any) -> Any:
        """The value of a key of the default's type."""
        return self.typed(f"{where}.{key}", section.get(key, default), type(default), default)

    def seconds(
        self,
        section: dict[str, Any],
        where: str,
        key: str,
        default: float,
        *,
        at_least: float = 0.0,
        longest: float = LONGEST_WAIT_S,
    ) -> float:
        """A time within its limits."""
        value = float(self.get(section, where, key, default))
        if not at_least <= value <= longest:
            self.fault(f"{where}.{key}", value, f"Write seconds from {at_least:g} to {longest:g}")
        return value

    def word(self, section: dict[str, Any], where: str, key: str, default: str, words: tuple[str, ...]) -> str:
        """One of some words."""
        word = section.get(key, default)
        if word in words:
            return str(word)
        self.fault(f"{where}.{key}", word, f"Write one of {', '.join(words)}")
        return default

    def typed(self, where: str, value: object, type_: type[Any], default: Any) -> Any:
        """A value of that type; the default, and a fault, where it is of another."""
        if type_ is float and isinstance(value, int) and not isinstance(value, bool):
            return _float(value)
        if isinstance(value, type_) and (type_ is bool or not isinstance(value, bool)):
            return value
        self.fault(where, value, f"Write {_WORDS[type_]}")
        return default

    def known(
        self,
        where: str,
        table: dict[str, Any],
        keys: set[str] | frozenset[str],
        also: frozenset[str] = frozenset(),
    ) -> None:
        """Note keys that are not known; `also` may stand here for another role of the same instrument."""
        for key in table:
            if key not in keys and key not in also:
                self.fault(f"{where}.{key}".strip("."), None, f"Unknown; known are {', '.join(sorted(keys))}")

    def fault(self, where: str, value: object, remedy: str) -> None:
        """Note what is wrong with a key."""
        got = "" if value is None else f" (got {shortened(repr(value))})"
        told = f"{shortened(where)}: not usable{got}. {shortened(remedy, 1000)}"
        if len(self._faults) < _MOST_TOLD:
            self._faults.append(plain(f"{self.path}: {told}"))


def _float(value: float) -> float:
    """A number of a file; infinite where it is larger than any."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf
