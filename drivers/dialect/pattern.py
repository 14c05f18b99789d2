"""How a reply is read: a template of our own, or an RE2 expression where a template does not do.

A template is plain text with places: {value} a number, {text} a word without spaces, {skip} anything up to the text
that follows it. Spaces match any amount of white space. It is compiled to possessive quantifiers, so no reply can make
it slow; RE2 is linear by design. Dialect files come from strangers: neither can execute or stall anything.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

LONGEST_REPLY = 65_536
_NUMBER = r"[+-]?+(?:\d++(?:\.\d*+)?+|\.\d++)(?:[eE][+-]?+\d++)?+"
_PLACES = {"value": rf"(?P<value>{_NUMBER})", "text": r"(?P<text>[^\s]++)"}
_RE2_PREFIX = "re2:"


class PatternError(ValueError):
    """A pattern that cannot be used."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A reply's shape. `source` is how it stands in the file."""

    source: str
    compiled: Any

    def find(self, reply: str) -> str | None:
        """The number or word in the reply; all of it where the pattern has no place; None where it does not match."""
        if len(reply) > LONGEST_REPLY:
            return None
        match = self.compiled.fullmatch(reply)
        if match is None:
            return None
        groups = match.groupdict()
        return groups.get("value") or groups.get("text") or reply


def compile_pattern(source: str) -> Pattern:
    """From the text in a dialect file. Raises PatternError."""
    if source.startswith(_RE2_PREFIX):
        return Pattern(source, _re2(source.removeprefix(_RE2_PREFIX)))
    parts = re.split(r"\{(\w*)\}", source)
    compiled = _literal(parts[0])
    for index in range(1, len(parts), 2):
        name, after = parts[index], parts[index + 1]
        if name == "skip":
            stop = after.lstrip()[:1]
            # Before mere space it is one word, or it would eat what the next place needs.
            anything = r"\S*+" if after else r"[^\r\n]*+"
            compiled += rf"[^{re.escape(stop)}]*+" if stop else anything
        elif name in _PLACES and f"(?P<{name}>" not in compiled:
            if name == "text" and after[:1].strip():
                compiled += rf"(?P<text>[^\s{re.escape(after[0])}]++)"
            else:
                compiled += _PLACES[name]
        else:
            raise PatternError(f"{{{name}}} is no place, or stands twice; there are {{value}}, {{text}} and {{skip}}")
        compiled += _literal(after)
    return Pattern(source, re.compile(compiled))


def _literal(text: str) -> str:
    return "".join(r"\s*+" if part.isspace() else re.escape(part) for part in re.split(r"(\s+)", text) if part)


def _re2(expression: str) -> Any:
    try:
        import re2
    except ImportError:
        raise PatternError("re2: needs the package google-re2; or write a template") from None
    options = re2.Options()
    options.log_errors = False
    try:
        return re2.compile(expression, options)
    except re2.error as error:
        raise PatternError(f"RE2 does not take this expression: {error}") from error
