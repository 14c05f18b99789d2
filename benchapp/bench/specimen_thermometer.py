"""The specimen's temperature through a run: asked at one look and heard at the next, so that no step waits for it."""

from __future__ import annotations

import math

from drivers.scpi_thermometer import ScpiThermometer


class SpecimenThermometer:
    """An opened thermometer, used by the thread that measures. `at_once`: on the voltmeter's own connection, where
    nothing else can be asked before it has answered.
    """

    def __init__(self, thermometer: ScpiThermometer, lag_s: float, *, at_once: bool = False) -> None:
        self._thermometer, self._lag_s, self._at_once = thermometer, lag_s, at_once
        self._asked_s: float | None = None
        self._told_s = 0.0
        self._specimen_C = math.nan  # behind the thermometer by the lag, when it was told last
        self._told_C = math.nan
        self._slope_K_per_s = 0.0

    def first_C(self) -> float:
        """One temperature before the run, waited for; the specimen is taken to be in step with it."""
        self._specimen_C = self._told_C = self._thermometer.read_C()
        return self._specimen_C

    def _follow(self, time_s: float, told_C: float) -> None:
        """The specimen at that time, as `analysis.temperature.lagging` has it: the air moves evenly between two."""
        since_s = time_s - self._told_s
        if since_s <= 0:
            return
        slope, before_C = (told_C - self._told_C) / since_s, self._specimen_C
        self._specimen_C = told_C
        if self._lag_s > 0:
            behind_K = slope * self._lag_s
            self._specimen_C += -behind_K + (before_C - self._told_C + behind_K) * math.exp(-since_s / self._lag_s)
        self._slope_K_per_s = (self._specimen_C - before_C) / since_s
        self._told_s, self._told_C = time_s, told_C

    def specimen_C(self, now_s: float) -> float:
        """As it was last, and moved on since as before: what was told is a second or two old by now."""
        return self._specimen_C + self._slope_K_per_s * (now_s - self._told_s)

    def look(self, now_s: float) -> tuple[float, float] | None:
        """The temperature that was asked at the last look, with its time; asks for the next one. Or that of now."""
        if self._at_once:
            told = now_s, self._thermometer.read_C()
            self._follow(*told)
            return told
        asked_s, found = self._asked_s, None
        if asked_s is not None:
            found = asked_s, self._thermometer.finish()
            self._follow(*found)
        self._thermometer.begin()
        self._asked_s = now_s
        return found
