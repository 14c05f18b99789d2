"""Passes of a run in step by trigger lines: how long, over which levels, at which times, and whether the signs hold."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.recipe import Recipe
from drivers.errors import SettingError
from drivers.linked import LinkedPair, LinkedReading, PassFailed
from drivers.roles import CurrentSource, Voltmeter
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter

_PASS_S = 2.0  # a pass is believed or discarded whole, and shown when it is over
_LEAST_READINGS = 8
_WINDOW = 8
_SLIPPED = 30.0  # times better explained by the signs one reading earlier or later


class PassReading(NamedTuple):
    """One reading with the host's time and its level."""

    time_s: float
    current_A: float
    voltage_V: float


class LinkedPasses:
    """Plans the passes of a recipe and carries them out. Raises SettingError where the instruments cannot do it."""

    def __init__(
        self,
        source: CurrentSource,
        voltmeter: Voltmeter,
        recipe: Recipe,
        *,
        now: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        if not (isinstance(source, ScpiSource) and isinstance(voltmeter, ScpiVoltmeter)):
            raise SettingError(
                "no steps by trigger lines: a driver that is not of SCPI has none",
                resource=source.identity,
                remedy='Write stepping = "host".',
            )
        lacking = LinkedPair.missing(source, voltmeter)
        if lacking:
            more = " and more" if len(lacking) > 3 else ""
            raise SettingError(
                f"no steps by trigger lines: {', '.join(lacking[:3])}{more} not known",
                resource=source.link.resource,
                remedy='Write stepping = "host", or a dialect that spells them.',
            )
        self._recipe, self._now = recipe, now
        self._pair = LinkedPair(source, voltmeter, now=now, sleep=sleep)
        self._period_s = recipe.settle_s + recipe.aperture_s
        self._levels = [recipe.level_A(k) for k in range(self._length())]
        self._prepared = False

    @property
    def limited(self) -> bool:
        """Whether the last pass ended at the compliance."""
        return self._pair.limited

    def one(self, grown: Callable[[int], None] = lambda count: None) -> list[PassReading]:
        """One pass; `grown` hears of its readings so far. Raises PassFailed where it cannot be believed."""
        if not self._prepared:
            self._pair.prepare(self._levels, self._recipe.settle_s, self._period_s)
            self._prepared = True
        start_s = self._now()
        readings = self._pair.run_pass(grown)
        self._compare_signs(readings)
        first_s = readings[0].time_s
        offset_s = start_s + self._recipe.settle_s + self._recipe.aperture_s / 2
        return [PassReading(offset_s + r.time_s - first_s, self._levels[r.index], r.voltage_V) for r in readings]

    def again(self) -> None:
        """Abort, and program everything anew before the next pass."""
        self._pair.abandon()
        self._prepared = False

    def suspend(self) -> None:
        """Back to single levels for a while; the next pass programs everything anew."""
        self._pair.leave()
        self._prepared = False

    def leave(self) -> None:
        """Back to single levels."""
        self._pair.leave()

    def _length(self) -> int:
        """Whole periods of the signs, about two seconds of them, as many as list and buffer hold."""
        signs = len(self._recipe.signs)
        wanted = max(_LEAST_READINGS, round(_PASS_S / self._period_s))
        return max(signs, min(wanted, self._pair.longest) // signs * signs)

    def _compare_signs(self, readings: list[LinkedReading]) -> None:
        """Eight readings that fit the signs of a neighbour far better, or fit a negative R among positive ones."""
        V = np.array([reading.voltage_V for reading in readings])
        I = np.array(self._levels)
        if not (np.abs(V) < OVERLOAD_V).all() or len(V) < _WINDOW + 2:
            return
        own = [_fit(I[s : s + _WINDOW], V[s : s + _WINDOW]) for s in range(1, len(V) - _WINDOW, 4)]
        middle = float(np.median([R for R, _ in own])) if own else 0.0
        for number, start in enumerate(range(1, len(V) - _WINDOW, 4)):
            R, rest = own[number]
            shifted = [_fit(np.roll(I, by)[start : start + _WINDOW], V[start : start + _WINDOW])[1] for by in (1, -1)]
            if rest > _SLIPPED * min(shifted) > 0 or (R * middle < 0 and abs(R) > 0.5 * abs(middle)):
                raise PassFailed(f"from reading {start} on the voltages belong to other currents of the list")


def _fit(I: np.ndarray, V: np.ndarray) -> tuple[float, float]:
    """R beside a drifting EMF, and the square sum of what is left."""
    t = np.arange(len(I)) - (len(I) - 1) / 2
    design = np.column_stack([I, np.ones(len(I)), t])
    solution = np.linalg.lstsq(design, V, rcond=None)[0]
    return float(solution[0]), float(np.sum((V - design @ solution) ** 2))
