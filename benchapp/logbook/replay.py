"""A run's estimate again, from its recorded readings, by the code that made it live."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.analyst import Floats, analyse
from benchapp.analysis.estimate import Estimate, Estimator
from benchapp.analysis.examined.estimate import analyse_examined
from benchapp.analysis.temperature import current_at_reference
from benchapp.logbook.query import RunRecord
from benchapp.recipe import Recipe, build_recipe, entries_from_text


def recipe_of(record: RunRecord) -> Recipe:
    """The recipe that the run was measured by."""
    return build_recipe(entries_from_text(record.summary.recipe_toml, f"run {record.summary.run_id}"))


def temperatures_of(record: RunRecord) -> Floats:
    """Those of a run as (2, n): time_s, degrees Celsius."""
    return np.array(record.temperatures, dtype=float).reshape(-1, 2).T


def replay(
    record: RunRecord, recipe: Recipe, *, left_out_s: Sequence[tuple[float, float]] = ()
) -> tuple[Estimate, Floats]:
    """The estimate and the blocks of a recorded run, by its recipe or another one; without the stretches left out."""
    columns = record.readings
    t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
    kept = np.ones(len(t), dtype=bool)
    for start, end in left_out_s:
        kept &= (t < start) | (t > end)
    pauses = [int(kept[:first].sum()) for first in columns.pauses]
    if not kept.all():
        gone = np.flatnonzero(~kept)
        pauses += [int(kept[:first].sum()) for first in gone.tolist()]
    numbers = np.flatnonzero(kept)
    return analyse_by(recipe, t[kept], I[kept], V[kept], sorted(set(pauses)), temperatures_of(record), numbers)


def corrected_currents(recipe: Recipe, time_s: Floats, current_A: Floats, temperatures: Floats | None) -> Floats:
    """The currents for R at the recipe's reference temperature; as they are where it names none."""
    if temperatures is None or not temperatures.shape[1] or recipe.temperature_lag_s is None:
        return current_A
    assert recipe.reference_C is not None
    assert recipe.alpha_per_K is not None
    return current_at_reference(
        time_s,
        current_A,
        temperatures[0],
        temperatures[1],
        reference_C=recipe.reference_C,
        alpha_per_K=recipe.alpha_per_K,
        lag_s=recipe.temperature_lag_s,
    )


def analyse_by(
    recipe: Recipe,
    time_s: Floats,
    current_A: Floats,
    voltage_V: Floats,
    pauses: Sequence[int],
    temperatures: Floats | None = None,
    numbers: NDArray[np.intp] | None = None,
    *,
    live: bool = False,
) -> tuple[Estimate, Floats]:
    """The whole of a run, as its recipe has it analysed; `pauses` are indices of readings that come first after one.

    `temperatures`, (2, n): time_s and degrees Celsius of the specimen's thermometer; `numbers` are those of the
    readings in the run, where some are left out; `live`: it still goes on, and a look at its end is enough for traps.
    """
    if recipe.estimator is Estimator.EXAMINED:
        rows = np.array([time_s, current_A, voltage_V], dtype=float)
        return analyse_examined(
            rows,
            recipe.cycle,
            aperture_s=recipe.aperture_s,
            numbers=numbers,
            emf_order=recipe.emf_order,
            pauses=pauses,
            live=live,
        )
    return analyse(
        time_s,
        corrected_currents(recipe, time_s, current_A, temperatures),
        voltage_V,
        emf_order=recipe.emf_order,
        middle_A=recipe.middle_A,
        pauses=pauses,
        aperture_s=recipe.aperture_s,
        estimator=recipe.estimator,
    )
