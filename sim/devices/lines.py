"""Trigger lines between source and voltmeter: each step triggers a reading, each reading advances the source.

Nothing runs by itself: whenever one of the two gets a message, everything that has happened on the lines since then is
made up for, in the order of time.
"""

from __future__ import annotations

from sim.clock import Clock
from sim.devices.current_source import CurrentSource
from sim.devices.voltmeter import Voltmeter
from sim.world.config import Lines


class TriggerLines:
    """The two lines, with their delays and faults."""

    def __init__(self, source: CurrentSource, voltmeter: Voltmeter, lines: Lines, clock: Clock) -> None:
        self._source, self._voltmeter, self._lines, self._clock = source, voltmeter, lines, clock
        self._step_at: float | None = None  # when the source takes its next level
        self._pulse_at: float | None = None  # when the pulse arrived for which a reading is under way
        self._pulses = 0
        source.before_message = voltmeter.before_message = self.catch_up

    def catch_up(self) -> None:
        """Everything that is over by now."""
        source, now = self._source, self._clock.now()
        if source.kicked_at is not None:
            self._step_at, source.kicked_at = source.kicked_at, None
            self._pulse_at = None
        if not source.armed:
            self._step_at = None
        if not self._voltmeter.armed:
            self._pulse_at = None
        while True:
            if self._pulse_at is not None and self._done_by(self._pulse_at) <= now:
                self._complete(self._pulse_at)
            elif self._step_at is not None and self._step_at <= now:
                self._step(self._step_at)
            else:
                return

    def _done_by(self, pulse_s: float) -> float:
        """When the reading of a pulse at that time is complete."""
        return pulse_s + self._voltmeter.trigger_delay_s + self._voltmeter.aperture_s

    def _step(self, time_s: float) -> None:
        self._step_at = None
        change_s = time_s + self._lines.step_delay_s
        if not self._source.next_level(change_s):
            return
        self._pulses += 1
        if self._pulses == self._lines.bounce_at:
            self._source.next_level(change_s)  # one pulse, two steps: the source slips by one level
        if self._pulses != self._lines.lost_at and self._voltmeter.armed:
            self._pulse_at = change_s
            self._voltmeter.triggered = True

    def _complete(self, pulse_s: float) -> None:
        self._pulse_at = None
        done_s = self._voltmeter.take_triggered(pulse_s)
        if done_s is not None:
            self._step_at = done_s + self._lines.return_delay_s
