"""The specimen's temperature through a run: asked at one look and heard at the next, so that no step waits for it."""

from __future__ import annotations

import math

from drivers.scpi_thermometer import ScpiThermometer


class SpecimenThermometer:
    """An opened thermometer, used by the thread that measures."""

    def __init__(self, thermometer: ScpiThermometer, lag_s: float) -> None:
        self._thermometer, self._lag_s = thermometer, lag_s
        self._asked_s: float | None = None
        self._told_s = 0.0
        self.specimen_C = math.nan  # behind the thermometer by the lag

    def first_C(self) -> float:
        """One temperature before the run, waited for; the specimen is taken to be in step with it."""
        self.specimen_C = self._thermometer.read_C()
        return self.specimen_C

    def look(self, now_s: float) -> tuple[float, float] | None:
        """The temperature that was asked at the last look, with its time; asks for the next one."""
        asked_s, found = self._asked_s, None
        if asked_s is not None:
            found = asked_s, self._thermometer.finish()
            share = -math.expm1(-(asked_s - self._told_s) / self._lag_s) if self._lag_s > 0 else 1.0
            self.specimen_C += share * (found[1] - self.specimen_C)
            self._told_s = asked_s
        self._thermometer.begin()
        self._asked_s = now_s
        return found
