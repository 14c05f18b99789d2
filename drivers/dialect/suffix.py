"""What may follow a value in a message: its unit, a channel, a letter that executes; never a factor."""

from __future__ import annotations

import re

_PREFIXES = {1e-3: "K", 1.0: "", 1e3: "M", 1e6: "U", 1e9: "N"}  # by instrument units for one SI unit
_REST = r" *(?:\)|, *\(@[\d,:]+\))? *"
_EXECUTE = r" ?[HIJLOQRSWXYZ]"  # no digit, exponent, hex digit or unit prefix among them


def suffix_is_safe(suffix: str, scale: float, unit: str) -> bool:
    """Whether it leaves a level or a compliance what it is. `unit` is "A" or "V"."""
    prefix = _PREFIXES.get(scale)
    of_unit = "" if prefix is None else rf"(?: ?{prefix}{unit})?"
    pattern = rf"(?:{of_unit}{_REST}|{_EXECUTE})"
    return re.fullmatch(pattern, suffix, re.IGNORECASE) is not None


def suffix_is_plain(suffix: str) -> bool:
    """The same for any other setting: no digit or exponent that would join the number, no second message."""
    return re.fullmatch(r"(?![\dEe.])[^;\d]*(?:\(@[\d,:]+\)[^;\d]*)?", suffix) is not None
