"""Rows in, estimate and flags out: of a whole run at once, or of one that goes on. No thread, no instrument."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.estimate import Estimate, Estimator, Flag, RunningEstimate, estimate_readings
from benchapp.analysis.traps.detect import with_traps

Floats = NDArray[np.float64]
_FIRST_LOOK = 30  # readings at which a run that goes on is looked at for traps
_LOOKED_BACK = 5000  # the last readings, of a long run
_CROSS_CHECKED_LIVE = 300
_WHOLE_LIVE = 500  # readings: a state-space estimate of more, ten times a second, would cost too much


def analyse(
    time_s: Sequence[float] | Floats,
    current_A: Sequence[float] | Floats,
    voltage_V: Sequence[float] | Floats,
    *,
    emf_order: int = 1,
    middle_A: float | None = None,
    pauses: Sequence[int] = (),
    aperture_s: float = math.nan,
    estimator: Estimator | None = None,
) -> tuple[Estimate, Floats]:
    """The estimate of a whole run with the flags of all traps, and its blocks as columns of ClosedBlock."""
    t, I, V = (np.asarray(column, dtype=float) for column in (time_s, current_A, voltage_V))
    estimate, blocks = estimate_readings(
        t, I, V, emf_order=emf_order, middle_A=middle_A, pauses=pauses, aperture_s=aperture_s, estimator=estimator
    )
    try:
        flagged = with_traps(estimate, t, I, V, blocks)
        if estimator is not Estimator.ROBUST and any(flag.code == "outlier" for flag in flagged.flags):
            robust, _ = estimate_readings(
                t, I, V, emf_order=emf_order, middle_A=middle_A, pauses=pauses, estimator=Estimator.ROBUST
            )
            flagged = replace(flagged, flags=tuple(_beside(flag, robust) for flag in flagged.flags))
        return flagged, blocks
    except (ArithmeticError, ValueError, IndexError, np.linalg.LinAlgError) as error:
        return replace(estimate, flags=(*estimate.flags, _not_checked(error))), blocks


def _beside(flag: Flag, robust: Estimate) -> Flag:
    """The flag of an outlier with what the robust estimate gives, which a pulse moves little."""
    if flag.code != "outlier" or not robust.standard_uncertainty_ohm > 0:
        return flag
    R, u = robust.resistance_ohm, robust.standard_uncertainty_ohm
    return replace(flag, text=f"{flag.text} The robust estimate, which it moves little: {R:.9g} ohm, u = {u:.2g} ohm.")


class Analyst:
    """Follows a run that goes on. `take` what is new; `estimate` costs the same however long the run is."""

    def __init__(self, emf_order: int, middle_A: float, aperture_s: float, estimator: Estimator) -> None:
        self._running = RunningEstimate(emf_order, middle_A, aperture_s, estimator, _WHOLE_LIVE)
        self._readings = np.empty((3, 0))
        self._blocks = np.empty((0, 0))
        self._count = 0
        self._next_look = _FIRST_LOOK
        self._flags: tuple[Flag, ...] = ()

    def take(self, readings: Floats, blocks: Floats, cuts: Sequence[int] = ()) -> None:
        """Readings as (3, n), columns of the blocks they closed, indices among them before which there is a cut."""
        self._running.take(readings, blocks, cuts)
        self._count += readings.shape[1]
        self._readings = np.concatenate([self._readings, readings], axis=1)[:, -_LOOKED_BACK:]
        known = self._blocks if self._blocks.shape[0] else np.empty((blocks.shape[0], 0))
        self._blocks = np.concatenate([known, blocks], axis=1)[:, -_LOOKED_BACK:]

    @property
    def wants_to_look(self) -> bool:
        """Whether the run is half as long again as when it was last looked at for traps."""
        return self._count >= self._next_look

    def estimate(self, *, look: bool = False) -> Estimate:
        """The result so far with the flags of the last look; `look` looks anew, at the last readings of a long run."""
        estimate = self._running.estimate()
        if look:
            self._next_look = round(1.5 * self._count)
            self._flags = self._found(estimate)
        return replace(estimate, flags=(*estimate.flags, *self._flags)) if self._flags else estimate

    def _found(self, estimate: Estimate) -> tuple[Flag, ...]:
        t, I, V = self._readings
        blocks = self._blocks[:, self._blocks[0] >= t[0]] if len(t) else self._blocks
        try:
            flagged = with_traps(estimate, t, I, V, blocks, cross_checked=_CROSS_CHECKED_LIVE)
        except (ArithmeticError, ValueError, IndexError, np.linalg.LinAlgError) as error:
            self._next_look = np.iinfo(np.int64).max
            return (_not_checked(error),)
        return tuple(flag for flag in flagged.flags if flag not in estimate.flags)


def _not_checked(error: Exception) -> Flag:
    return Flag("not-checked", "warning", f"The readings could not be checked for faults ({error!r}).")
