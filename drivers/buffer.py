"""The readings of a pass in the voltmeter's memory: how many there are by now, and how they come out.

Instruments differ: some give all at once when the acquisition is over, as FETCh? of SCPI-99 does; some count while the
memory fills and give any part of it, from 0 or from 1 on, by count or by last place; some add the time of each reading.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from drivers.errors import ReplyError
from drivers.scpi_voltmeter import ScpiVoltmeter
from drivers.values import block_numbers

_AT_ONCE = 200  # readings in one answer, where they come in pieces


class StoredReading(NamedTuple):
    """A voltage and the instrument's own time of it; NaN where it keeps none."""

    voltage_V: float
    time_s: float


class Buffer:
    """What a voltmeter holds of a pass."""

    def __init__(self, voltmeter: ScpiVoltmeter) -> None:
        self._voltmeter = voltmeter
        self._drain = voltmeter.spelling("drain")
        self.grows = voltmeter.has("count") and "{first}" in self._drain.get
        self.has_times = self._drain.items == "value time"

    @staticmethod
    def missing(voltmeter: ScpiVoltmeter) -> list[str]:
        """What is lacking to get a pass out of it."""
        lacking = [] if voltmeter.has("drain") else ["drain"]
        return lacking if voltmeter.has("count") or voltmeter.has("pending") else [*lacking, "count or pending"]

    def prepare(self) -> None:
        """The format in which the readings come."""
        for message in self._drain.before:
            self._voltmeter.send(message)
            self._voltmeter.check_errors(message)

    def clear(self) -> None:
        """Forget the pass before, where arming does not do that by itself."""
        if self._voltmeter.has("clear"):
            self._voltmeter.send(self._voltmeter.spelling("clear").set)

    def is_filling(self, wanted: int) -> bool:
        """Whether readings are still to come."""
        if self._voltmeter.has("pending"):
            return self._voltmeter.get_bool("pending")
        return self.count() < wanted

    def count(self) -> int:
        """The readings that are there."""
        return self._voltmeter.get_whole("count")

    def all_of(self, wanted: int) -> list[StoredReading]:
        """The whole pass, once it is over. Raises ReplyError where it is not as long as it should be."""
        found: list[StoredReading] = []
        while len(found) < wanted:
            found += self.part(len(found), wanted - len(found))
        return found

    def part(self, first: int, count: int) -> list[StoredReading]:
        """Readings from place `first`, counted from 0; as many as go into one answer."""
        if "{first}" in self._drain.get:
            count = min(count, _AT_ONCE)
        base = self._drain.index_base
        query = self._drain.get
        for name, place in (("first", first + base), ("last", first + base + count - 1), ("count", count)):
            query = query.replace(f"{{{name}}}", str(place))
        numbers = self._numbers(query)
        each = 2 if self.has_times else 1
        if len(numbers) != each * count:
            of_times = " with their times" if self.has_times else ""
            raise ReplyError(
                f"{len(numbers)} numbers for {count} readings{of_times}",
                resource=self._voltmeter.link.resource, command=query, remedy="Correct the drain in the dialect.",
            )  # fmt: skip
        times = numbers[1::2] if self.has_times else [math.nan] * count
        values = numbers[::each]
        return [StoredReading(V / self._drain.scale, t) for V, t in zip(values, times, strict=True)]

    def _numbers(self, query: str) -> list[float]:
        if self._drain.encoding != "ascii":
            return block_numbers(self._voltmeter.link.query_block(query), self._drain.encoding)
        try:
            return [float(text) for text in self._voltmeter.link.query(query).split(",")]
        except ValueError:
            return []
