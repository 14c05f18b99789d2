"""R at several currents: power (R at zero power, and how R rises), and linearity (what is left of an EMF or an offset).

Power: R = R0 + c k^2 with k the current over the largest. Three quarters of the time go to half the current: there the
reading of R0 costs least (by simulation). Linearity: R = R0 + e / k + c k^2 at k = 1, 0.5 and 0.1.
"""

from __future__ import annotations

import numpy as np

from benchapp.quantity import engineering, ppm
from benchapp.recipe import Recipe
from benchapp.study.conclusion import Conclusion, Figure, Floats, StudyRun, combined

POWER_LEVELS = (0.5, 1.0, 0.5, 0.5)
LINEARITY_LEVELS = (1.0, 0.1, 0.5, 0.1)


def power(runs: list[StudyRun]) -> Conclusion:
    """From runs at two currents or more."""
    k, weights = _weights(runs, ("R0", "square"))
    zero, rise = (
        combined("R at zero power", weights[0], runs),
        combined("rise to the largest current", weights[1], runs),
    )
    largest_A = max(run.recipe.current_A for run in runs)
    if rise.is_seen:
        text = (
            f"R rises by {engineering(rise.value, 'ohm', 3)} ({ppm(rise.value, zero.value)}) from zero power to"
            f" {engineering(largest_A, 'A', 3)}: the current warms the part, or a contact is not ohmic. State R at zero"
            " power, or at the current at which the part is used."
        )
    else:
        seen = max(abs(rise.low), abs(rise.high))
        text = (
            f"No rise of R with the current is seen; above {engineering(seen, 'ohm', 2)} ({ppm(seen, zero.value)}) it"
            " would have been."
        )
    return Conclusion(
        "power",
        (zero, rise),
        text,
        _smaller_current(rise, zero, largest_A),
        picture=_picture(k, runs, zero.value, rise.value),
    )


def _smaller_current(rise: Figure, zero: Figure, largest_A: float) -> dict[str, str]:
    """The current at which the rise is within the uncertainty of R at zero power."""
    U = (zero.high - zero.low) / 2
    if not rise.is_seen or abs(rise.value) <= U:
        return {}
    return {"current": engineering(largest_A * (U / abs(rise.value)) ** 0.5, "A", 2)}


def linearity(runs: list[StudyRun]) -> Conclusion:
    """From runs at three currents or more."""
    k, weights = _weights(runs, ("R0", "inverse", "square"))
    largest_A = max(run.recipe.current_A for run in runs)
    zero = combined("R at zero power", weights[0], runs)
    emf = combined("voltage that follows the sign", weights[1] * largest_A, runs, "V")
    rise = combined("rise to the largest current", weights[2], runs)
    told = []
    if emf.is_seen:
        told.append(
            f"A voltage of {engineering(emf.value, 'V', 3)} follows the current's sign whatever its size, as of a"
            f" junction that the current heats or cools: {ppm(emf.value / largest_A, zero.value)} of R at the largest"
            " current, more below"
        )
    if rise.is_seen:
        told.append(f"R rises by {ppm(rise.value, zero.value)} to the largest current")
    seen = max(abs(rise.low), abs(rise.high))
    text = ". ".join(told) or f"R is the same at all currents within {ppm(seen, zero.value)}"
    fit = zero.value + emf.value / largest_A / k + rise.value * k**2
    return Conclusion("linearity", (zero, emf, rise), text + ".", picture=(k, np.array([run.R for run in runs]), fit))


def _weights(runs: list[StudyRun], columns: tuple[str, ...]) -> tuple[Floats, Floats]:
    """Currents over the largest, and for each column the weights of the runs, by the currents and times alone: weights
    by what the runs happened to scatter would make the interval too small.
    """
    I = np.array([run.recipe.current_A for run in runs])
    k = I / I.max()
    time_s = np.array([float(run.rows[0, -1] - run.rows[0, 0]) for run in runs])
    known = {"R0": np.ones(len(k)), "inverse": 1 / k, "square": k**2}
    X = np.column_stack([known[name] for name in columns])
    root = k * np.sqrt(time_s)
    return k, np.linalg.pinv(X * root[:, None]) * root


def _picture(k: Floats, runs: list[StudyRun], zero: float, rise: float) -> tuple[Floats, Floats, Floats]:
    return k**2, np.array([run.R for run in runs]), zero + rise * k**2


def at_level(recipe: Recipe, level: float) -> dict[str, str]:
    """What a run of the study changes in the recipe."""
    return {"current": f"{recipe.current_A * level!r} A"}
