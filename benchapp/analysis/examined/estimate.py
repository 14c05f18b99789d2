"""The estimate of an examined run: value and interval of the fit, all else as of any other run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.analyst import analyse
from benchapp.analysis.estimate import Estimate, Estimator, Flag
from benchapp.analysis.examined.columns import readings_of
from benchapp.analysis.examined.cycle import LEAST_CYCLES, Cycle
from benchapp.analysis.examined.examine import Effect, Examined, examine
from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.analysis.student import coverage_factor

Floats = NDArray[np.float64]
# The fit has its own estimate and its own look at the currents.
_EXAMINED = frozenset({"estimates-differ", "non-ohmic", "current-asymmetry", "time-gap"})
_LOOKED_AT = 128  # cycles, by the traps while the run goes on
_MANY = 1e6  # degrees of freedom of an interval that rests on the model


def analyse_examined(
    rows: Floats,
    cycle: Cycle,
    *,
    aperture_s: float,
    numbers: NDArray[np.intp] | None = None,
    emf_order: int = 1,
    pauses: Sequence[int] = (),
    live: bool = False,
) -> tuple[Estimate, Floats]:
    """`rows` (3, n): time_s, current_A, voltage_V; `numbers` are those of the readings in the run, where some are left
    out; `pauses` are places among them. A cycle that is not whole, or in which the run was paused, does not count.
    While the run is `live` the traps look at its last cycles alone, so that an hour costs no more than a minute.
    """
    numbers = np.arange(rows.shape[1]) if numbers is None else numbers
    good = np.abs(rows[2]) < OVERLOAD_V
    whole = readings_of(rows[:, good], cycle, aperture_s, numbers[good], numbers[list(pauses)] if len(pauses) else ())
    if whole is None or len(whole.time_s) < LEAST_CYCLES:
        estimate, blocks = _plain(rows, emf_order, pauses, aperture_s)
        text = f"An examined run needs {LEAST_CYCLES} whole cycles of {cycle.readings} readings. Measure longer."
        flags = (*estimate.flags, Flag("examined-too-short", "warning", text))
        return replace(estimate, flags=flags), blocks
    found, clean_V = examine(whole)
    # The traps look at what the readings would be without what was found: a pulse, a step, a drift stands out there.
    last = slice(-_LOOKED_AT if live else None, None)
    apart = np.flatnonzero(np.diff(whole.number[last]) > 1) + 1
    clean = np.array([whole.time_s[last], whole.current_A[last], clean_V[last]]).reshape(3, -1)
    estimate, blocks = _plain(clean, emf_order, (apart * cycle.readings).tolist(), aperture_s)
    if not good.all():
        estimate = replace(estimate, flags=(*_plain(rows, emf_order, pauses, aperture_s)[0].flags, *estimate.flags))
    return with_examined(estimate, found), blocks


def _plain(rows: Floats, emf_order: int, pauses: Sequence[int], aperture_s: float) -> tuple[Estimate, Floats]:
    return analyse(
        *rows,
        emf_order=emf_order,
        middle_A=0.0,
        pauses=pauses,
        aperture_s=aperture_s,
        estimator=Estimator.BLOCKS,
    )


def with_examined(estimate: Estimate, found: Examined) -> Estimate:
    """The estimate with what the fit found, and its words."""
    kept = [flag for flag in estimate.flags if flag.code not in _EXAMINED]
    k = coverage_factor(_MANY, estimate.coverage_probability)
    u = found.half_width_ohm / k
    return replace(
        estimate,
        resistance_ohm=found.resistance_ohm,
        standard_uncertainty_ohm=u,
        expanded_uncertainty_ohm=found.half_width_ohm,
        coverage_factor=k,
        degrees_of_freedom=math.inf,
        repeatability_95_ohm=found.half_width_ohm,
        estimator=Estimator.EXAMINED,
        flags=(*kept, *_flags(found)),
        examined=found,
    )


def _flags(found: Examined) -> list[Flag]:
    if not found.followed:
        tau_ms = found.effect("settling").tau_s * 1e3
        text = (
            f"The voltage settles in a way that this run cannot follow: about {tau_ms:.3g} ms, or not with one time"
            f" constant; {found.longest_tau_s * 1e3:.3g} ms could be followed. Wait longer after each change."
        )
        return [Flag("not-settled", "stop", text)]
    told = {
        "settling": _settles,
        "warming": _warms,
        "even": _even,
        "level": _depends,
        "following": _follows,
    }
    return [
        Flag(
            f"found-{effect.name}", "notice", told[effect.name](effect, found.resistance_ohm), (), abs(effect.size_ohm)
        )
        for effect in found.effects
        if effect.found
    ]


def _ppm(size_ohm: float, resistance_ohm: float) -> str:
    part = abs(size_ohm / resistance_ohm) if resistance_ohm else math.inf
    return f"{part * 1e6:.3g} ppm" if part < 1e-3 else f"{part * 100:.3g} %"


def _settles(effect: Effect, R: float) -> str:
    return (
        f"The voltage settles with {effect.tau_s * 1e3:.3g} ms after each reversal: {_ppm(effect.size_ohm, R)} of the"
        " step were missing when the first reading began. The value is that of the settled voltage."
    )


def _warms(effect: Effect, R: float) -> str:
    return (
        f"The current warms the part with {effect.tau_s:.3g} s, and R rises by {_ppm(effect.size_ohm, R)}."
        " The value holds at the mean warmth of the run; that at zero power stands beside it."
    )


def _even(effect: Effect, R: float) -> str:
    return (
        f"The two polarities differ by {_ppm(2 * effect.size_ohm, R)}: a source that is not symmetric, or a part that"
        " rectifies. Either polarity may be the right one, and U covers both. Measure the current to tell."
    )


def _follows(effect: Effect, R: float) -> str:
    return (
        f"An EMF follows the current's sign, by what {_ppm(effect.size_ohm, R)} of R would make at this current; three"
        " currents tell it from a dependence on the current. The value is R without it."
    )


def _depends(effect: Effect, R: float) -> str:
    return (
        f"At half the current R is another one, by {_ppm(effect.size_ohm, R)}: a film, a poor contact, heat, or an EMF"
        " that follows the current's sign. The value holds at the working current."
    )
