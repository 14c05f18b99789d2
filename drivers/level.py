"""A source's level: how a current is written and read, as a number or in counts of the range in use; by which polarity.

A source that takes magnitudes only and has a command for the polarity turns it at zero current.
"""

from __future__ import annotations

from drivers.dialect import Spelling
from drivers.errors import SettingError
from drivers.instrument import Instrument
from drivers.link import to_float
from drivers.values import agrees, number_of


class Level:
    """That of one source; `range_A` is the range in use, where it counts in parts of it."""

    def __init__(self, source: Instrument) -> None:
        self._source = source
        self.range_A: float | None = None

    @property
    def spelling(self) -> Spelling:
        """How it is spelled."""
        return self._source.spelling("level")

    def text(self, current_A: float) -> str:
        """The current as this source takes it. Raises SettingError."""
        if not self.spelling.counts:
            return self._source.number_text(self.spelling, current_A)
        return str(round(current_A / self._full_scale_A() * self.spelling.counts))

    def ask(self) -> float:
        """What it is set to, in A."""
        s = self.spelling
        reply = self._source.extract(s, self._source.link.query(s.get, s.timeout_s or None))
        return self.of(to_float(reply, self._source.link, s.get))

    def of(self, read: float) -> float:
        """A number that was read, in A."""
        if not self.spelling.counts:
            return number_of(read, self.spelling)
        return read / self.spelling.counts * self._full_scale_A()

    def agrees(self, asked_A: float, found_A: float) -> bool:
        """Whether what reads back is what was asked."""
        s = self.spelling
        if s.counts:
            return abs(asked_A - found_A) * s.counts <= 1.001 * self._full_scale_A()
        return agrees(asked_A, found_A * s.scale, s)

    @property
    def last_digit_A(self) -> float:
        """What it cannot tell apart."""
        return self._full_scale_A() / self.spelling.counts if self.spelling.counts else self.spelling.atol

    def _full_scale_A(self) -> float:
        if not self.range_A and self._source.has("range") and self._source.spelling("range").get:
            self.range_A = self._source.get_number("range")
        if not self.range_A:
            raise SettingError(
                "its level counts in parts of a range that is not known",
                resource=self._source.link.resource,
                command=self.spelling.set,
                remedy="Spell the range in its dialect, with what asks for it.",
            )
        return self.range_A


class PolarityCommand:
    """Turns the output by a command of its own."""

    def __init__(self, source: Instrument) -> None:
        self._source = source
        self._positive: bool | None = None

    def turned_by(self, current_A: float) -> bool:
        """Whether this current needs the other polarity."""
        return current_A != 0.0 and self._positive is not (current_A > 0)

    def turn(self, current_A: float) -> None:
        """To the sign of the current; proved where it can be asked. The level is zero by now."""
        self._source.set("polarity", current_A > 0)
        self._positive = current_A > 0
