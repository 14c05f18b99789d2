"""Source and voltmeter in step by trigger lines: finite passes over a list of levels, watched while they run.

Each step of the source triggers the voltmeter, each completed reading advances the source; the host arms both, kicks
the source once and drains the buffer. A pass is believed only where counts, pace and signs agree; otherwise it is
discarded whole by the caller and armed again.

A list is waited for by polling, never with *OPC?: a pending one would hold up OUTPUT OFF.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from drivers.dialect.model import ENCODINGS
from drivers.errors import ReplyError, SettingError
from drivers.instrument import Instrument
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

_SOURCE_NEEDS = ("mode", "list", "step_source", "arm", "armed", "start", "abort", "taken")
_VOLTMETER_NEEDS = ("trigger", "delay", "samples", "arm", "armed", "abort", "clear", "count", "drain")
_ARMED_WITHIN_S = 2.0
_STALLED_PERIODS = 3.0
_LEAST_STALL_S = 0.02
_DRAIN_AT_MOST = 200
_EARLY = 0.5  # of the period: a reading that comes sooner did not wait for the settling


class PassFailed(Exception):
    """A pass that cannot be believed; the text says which watcher saw what."""


@dataclass(frozen=True, slots=True)
class LinkedReading:
    """One reading of a pass: its place in the list, the voltmeter's own time of it, and the voltage."""

    index: int
    time_s: float
    voltage_V: float


class LinkedPair:
    """Both instruments for linked passes. `now` is the host's clock, `sleep` waits on it and shows life."""

    def __init__(
        self,
        source: ScpiSource,
        voltmeter: ScpiVoltmeter,
        *,
        now: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        self._source, self._voltmeter = source, voltmeter
        self._now, self._sleep = now, sleep
        self._period_s = math.nan
        self._levels: list[float] = []
        self.limited = False

    @staticmethod
    def missing(source: ScpiSource, voltmeter: ScpiVoltmeter) -> list[str]:
        """What the instruments, or their dialects, lack for linked passes; empty where they can do it."""
        if not source.bipolar:
            return ["a list of both signs for a source behind a polarity switch"]
        lacking = [f"source {name}" for name in _SOURCE_NEEDS if not source.has(name)]
        return lacking + [f"voltmeter {name}" for name in _VOLTMETER_NEEDS if not voltmeter.has(name)]

    @property
    def longest(self) -> int:
        """Readings of one pass that list memory and buffer allow."""
        memory, buffer = self._source.spelling("list").high, self._voltmeter.spelling("drain").high
        least = min(memory, buffer)
        return int(least) if math.isfinite(least) else 100

    def prepare(self, levels_A: Sequence[float], settle_s: float, period_s: float) -> None:
        """Program list, delay and triggers; the output may be on, the level stays. Raises InstrumentError."""
        source, voltmeter = self._source, self._voltmeter
        self._levels, self._period_s = list(levels_A), period_s
        for message in voltmeter.spelling("drain").before:
            voltmeter.send(message)
            voltmeter.check_errors(message)
        voltmeter.set("trigger", "")
        voltmeter.set("delay", settle_s)
        voltmeter.set("samples", float(len(levels_A)))
        spelling = source.spelling("list")
        text = ",".join(source.value_text_of_number(level) for level in levels_A)
        message = spelling.set.replace("{value}", text)
        source.send(message)
        source.check_errors(message)
        count = source.get_number("list")
        if count != len(levels_A):
            raise SettingError(
                f"a list of {len(levels_A)} levels reads back as {count:g}",
                resource=source.link.resource, command=message, remedy="Correct the list's memory in the dialect.",
            )  # fmt: skip
        source.set("step_source", "")
        source.set("mode", True)
        source.forget_level()

    def run_pass(self) -> list[LinkedReading]:
        """One pass over the list. Raises PassFailed where it is not to be believed, InstrumentError."""
        self._arm(self._voltmeter, clears=True)
        self._arm(self._source)
        self._source.send(self._source.spelling("start").set)
        readings = self._drained()
        self._compare_counts(len(self._levels))
        self._judge(readings)
        return readings

    def leave(self) -> None:
        """Stop the pass and go back to single levels; the voltmeter reads when asked again."""
        for instrument in (self._source, self._voltmeter):
            instrument.send(instrument.spelling("abort").set)
        self._source.set("mode", False)
        for name in ("trigger_source", "format"):
            if self._voltmeter.has(name):
                self._voltmeter.set(name, "")

    def abandon(self) -> None:
        """Abort both, so that they can be armed again."""
        for instrument in (self._source, self._voltmeter):
            instrument.send(instrument.spelling("abort").set)

    def _arm(self, instrument: Instrument, *, clears: bool = False) -> None:
        """Arm, and ask until it says that it waits: a trigger that comes sooner is lost."""
        # The last pulse of the pass before may still be under way: an instrument that waits for it refuses INIT.
        instrument.send(instrument.spelling("abort").set)
        if clears:
            instrument.send(instrument.spelling("clear").set)
        message = instrument.spelling("arm").set
        instrument.send(message)
        until = self._now() + _ARMED_WITHIN_S
        while not instrument.get_bool("armed"):
            instrument.check_errors(message)
            if self._now() > until:
                raise PassFailed(f"{instrument.link.resource} does not wait for a trigger after {message!r}")
            self._sleep(0.002)

    def _drained(self) -> list[LinkedReading]:
        """Readings as they come; PassFailed where none comes for three periods."""
        found: list[LinkedReading] = []
        wanted = len(self._levels)
        stall_s = max(_LEAST_STALL_S, _STALLED_PERIODS * self._period_s)
        last_progress = self._now()
        while len(found) < wanted:
            # Steps first: by the time the readings are counted they may have caught up, never fallen behind.
            steps = self._source.get_whole("taken")
            count = min(wanted, self._voltmeter.get_whole("count"))
            if steps > count + 1:
                raise PassFailed(f"the source made {steps} steps for {count} readings: it slipped")
            if count > len(found):
                found += self._fetch(len(found), count - len(found))
                last_progress = self._now()
                continue
            if self._now() - last_progress > stall_s:
                raise PassFailed(f"no reading for {stall_s:.2g} s after {count} of {wanted}: a trigger pulse was lost")
            if self._source.has("limiting") and self._source.get_bool("limiting"):
                self.limited = True
                raise PassFailed("the source is at its compliance")
            self._sleep(min(0.1, max(0.001, self._period_s)))
        return found

    def _fetch(self, first: int, count: int) -> list[LinkedReading]:
        count = min(count, _DRAIN_AT_MOST)
        spelling = self._voltmeter.spelling("drain")
        query = spelling.get.replace("{first}", str(first)).replace("{count}", str(count))
        numbers = self._numbers(query, spelling.encoding)
        if len(numbers) != 2 * count:
            raise ReplyError(
                f"{len(numbers)} numbers for {count} readings with their times",
                resource=self._voltmeter.link.resource, command=query, remedy="Correct the drain in the dialect.",
            )  # fmt: skip
        pairs = zip(numbers[::2], numbers[1::2], strict=True)
        return [LinkedReading(first + k, time_s, value / spelling.scale) for k, (value, time_s) in enumerate(pairs)]

    def _numbers(self, query: str, encoding: str) -> list[float]:
        if encoding != "ascii":
            data = self._voltmeter.link.query_block(query)
            return [float(number) for number in np.frombuffer(data[: len(data) // 8 * 8], dtype=ENCODINGS[encoding])]
        try:
            return [float(text) for text in self._voltmeter.link.query(query).split(",")]
        except ValueError:
            return []

    # The watchers.

    def _compare_counts(self, taken: int) -> None:
        steps = self._source.get_whole("taken")
        if steps != taken:
            raise PassFailed(f"the source made {steps} steps for {taken} readings: they are out of step")

    def _judge(self, readings: Sequence[LinkedReading]) -> None:
        steps = [b.time_s - a.time_s for a, b in pairwise(readings)]
        early = [k for k, step in enumerate(steps) if step < _EARLY * self._period_s]
        if early:
            raise PassFailed(f"reading {early[0] + 1} came {steps[early[0]]:.3g} s after the one before: too early")
