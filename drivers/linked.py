"""Source and voltmeter in step by trigger lines: finite passes over a list of levels, watched while they run.

Each step of the source triggers the voltmeter, each completed reading advances the source; the host arms both, kicks
the source once and takes the readings. A pass is believed only where counts, pace and signs agree; otherwise it is
discarded whole by the caller and armed again. Instruments that count steps and readings, or keep times, are watched
while the pass runs; others by the end of the pass: as many readings as levels, none of them sooner than it can come.

A pass is waited for by polling, never with *OPC?: a pending one would hold up OUTPUT OFF.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from drivers.buffer import Buffer, StoredReading
from drivers.errors import SettingError
from drivers.instrument import Instrument
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

_SOURCE_NEEDS = ("mode", "list", "step_source", "arm", "armed", "start", "abort")
_VOLTMETER_NEEDS = ("trigger", "delay", "samples", "arm", "armed", "abort")
_ARMED_WITHIN_S = 2.0
_STALLED_PERIODS = 3.0
_LEAST_STALL_S = 0.02
_OVERDUE = 2.0  # times as long as the pass takes at least
_LATENCY_S = 0.5  # that an instrument may take beside it
_EARLY = 0.5  # of the period: a reading that comes sooner did not wait for the settling


class PassFailed(Exception):
    """A pass that cannot be believed; the text says which watcher saw what."""


@dataclass(frozen=True, slots=True)
class LinkedReading:
    """One reading of a pass: its place in the list, when it was taken since the first one, and the voltage."""

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
        self._buffer = Buffer(voltmeter)
        self._now, self._sleep = now, sleep
        self._period_s = math.nan
        self._levels: list[float] = []
        self.limited = False

    @staticmethod
    def missing(source: ScpiSource, voltmeter: ScpiVoltmeter) -> list[str]:
        """What the instruments, or their dialects, lack for linked passes; empty where they can do it."""
        if not source.bipolar or source.has("polarity"):
            return ["a list of both signs for a source whose polarity is switched"]
        lacking = [f"source {name}" for name in _SOURCE_NEEDS if not source.has(name)]
        lacking += [f"voltmeter {name}" for name in _VOLTMETER_NEEDS if not voltmeter.has(name)]
        return lacking + [f"voltmeter {name}" for name in Buffer.missing(voltmeter)]

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
        self._buffer.prepare()
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

    def run_pass(self, grown: Callable[[int], None] = lambda count: None) -> list[LinkedReading]:
        """One pass over the list; `grown` is told of the readings so far, where the voltmeter counts them.

        Raises PassFailed where it is not to be believed, InstrumentError.
        """
        self._arm(self._voltmeter, clear=self._buffer.clear)
        self._arm(self._source)
        kicked_s = self._now()
        self._source.send(self._source.spelling("start").set)
        readings = self._drained(grown) if self._buffer.grows else self._awaited(kicked_s)
        self._compare_counts(len(self._levels))
        self._judge(readings)
        return readings

    def leave(self) -> None:
        """Stop the pass and go back to single levels; the voltmeter reads when asked again."""
        for instrument in (self._source, self._voltmeter):
            instrument.send(instrument.spelling("abort").set)
        self._source.set("mode", False)
        for name in ("trigger_source", "samples", "format"):
            if self._voltmeter.has(name):
                self._voltmeter.set(name, 1.0 if name == "samples" else "")

    def abandon(self) -> None:
        """Abort both, so that they can be armed again."""
        for instrument in (self._source, self._voltmeter):
            instrument.send(instrument.spelling("abort").set)

    def _arm(self, instrument: Instrument, clear: Callable[[], None] = lambda: None) -> None:
        """Arm, and ask until it says that it waits: a trigger that comes sooner is lost."""
        # The last pulse of the pass before may still be under way: an instrument that waits for it refuses INIT.
        instrument.send(instrument.spelling("abort").set)
        clear()
        message = instrument.spelling("arm").set
        instrument.send(message)
        until = self._now() + _ARMED_WITHIN_S
        while not instrument.get_bool("armed"):
            instrument.check_errors(message)
            if self._now() > until:
                raise PassFailed(f"{instrument.link.resource} does not wait for a trigger after {message!r}")
            self._sleep(0.002)

    def _drained(self, grown: Callable[[int], None]) -> list[LinkedReading]:
        """Readings as they come; PassFailed where none comes for three periods."""
        found: list[StoredReading] = []
        wanted = len(self._levels)
        stall_s = max(_LEAST_STALL_S, _STALLED_PERIODS * self._period_s)
        began_s = last_progress = self._now()
        while len(found) < wanted:
            # Steps first: by the time the readings are counted they may have caught up, never fallen behind.
            steps = self._source.get_whole("taken") if self._source.has("taken") else 0
            count = min(wanted, self._buffer.count())
            if steps > count + 1:
                raise PassFailed(f"the source made {steps} steps for {count} readings: it slipped")
            if count > len(found):
                found += self._buffer.part(len(found), count - len(found))
                last_progress = self._now()
                grown(len(found))
                continue
            if self._now() - last_progress > stall_s:
                raise PassFailed(f"no reading for {stall_s:.2g} s after {count} of {wanted}: a trigger pulse was lost")
            self._end_at_compliance()
            self._sleep(min(0.1, max(0.001, self._period_s)))
        return self._timed(found, self._now() - began_s)

    def _awaited(self, kicked_s: float) -> list[LinkedReading]:
        """All readings at the end of the pass; PassFailed where it does not end, or ends too soon."""
        wanted = len(self._levels)
        least_s = wanted * self._period_s
        longest_s = _OVERDUE * least_s + _LATENCY_S
        while self._buffer.is_filling(wanted):
            if self._now() - kicked_s > longest_s:
                raise PassFailed(f"{wanted} readings were not over after {longest_s:.2g} s: a trigger pulse was lost")
            self._end_at_compliance()
            self._sleep(min(0.1, max(0.001, kicked_s + least_s - self._now())))
        took_s = self._now() - kicked_s
        if took_s < least_s - _EARLY * self._period_s:
            raise PassFailed(f"{wanted} readings came within {took_s:.3g} s, and need {least_s:.3g} s: too early")
        return self._timed(self._buffer.all_of(wanted), took_s)

    def _timed(self, found: Sequence[StoredReading], took_s: float) -> list[LinkedReading]:
        """With the instrument's own times; evenly over the pass where it keeps none."""
        if self._buffer.has_times:
            return [LinkedReading(k, t, V) for k, (V, t) in enumerate(found)]
        step_s = max(self._period_s, took_s / len(found))
        return [LinkedReading(k, k * step_s, V) for k, (V, _) in enumerate(found)]

    # The watchers.

    def _end_at_compliance(self) -> None:
        if self._source.has("limiting") and self._source.get_bool("limiting"):
            self.limited = True
            raise PassFailed("the source is at its compliance")

    def _compare_counts(self, taken: int) -> None:
        if self._source.has("taken"):
            steps = self._source.get_whole("taken")
            if steps != taken:
                raise PassFailed(f"the source made {steps} steps for {taken} readings: they are out of step")
        elif self._source.get_bool("armed"):
            raise PassFailed(f"after {taken} readings the source still waits for a step: they are out of step")

    def _judge(self, readings: Sequence[LinkedReading]) -> None:
        steps = [b.time_s - a.time_s for a, b in pairwise(readings)]
        early = [k for k, step in enumerate(steps) if step < _EARLY * self._period_s]
        if early:
            raise PassFailed(f"reading {early[0] + 1} came {steps[early[0]]:.3g} s after the one before: too early")
