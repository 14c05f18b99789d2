"""A run's estimate again, from its recorded readings, by the code that made it live."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchapp.analysis.analyst import Floats, analyse
from benchapp.analysis.estimate import Estimate, Estimator
from benchapp.logbook.query import RunRecord
from benchapp.recipe import Recipe, build_recipe, entries_from_text


def recipe_of(record: RunRecord) -> Recipe:
    """The recipe that the run was measured by."""
    return build_recipe(entries_from_text(record.summary.recipe_toml, f"run {record.summary.run_id}"))


def replay(
    record: RunRecord,
    recipe: Recipe,
    *,
    emf_order: int | None = None,
    estimator: Estimator | None = None,
    left_out_s: Sequence[tuple[float, float]] = (),
) -> tuple[Estimate, Floats]:
    """The estimate and the blocks of a recorded run; with another drift model or estimator, or without stretches."""
    columns = record.readings
    t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
    kept = np.ones(len(t), dtype=bool)
    for start, end in left_out_s:
        kept &= (t < start) | (t > end)
    pauses = [int(kept[:first].sum()) for first in columns.pauses]
    if not kept.all():
        gone = np.flatnonzero(~kept)
        pauses += [int(kept[:first].sum()) for first in gone.tolist()]
    return analyse(
        t[kept],
        I[kept],
        V[kept],
        emf_order=recipe.emf_order if emf_order is None else emf_order,
        middle_A=recipe.middle_A,
        pauses=sorted(set(pauses)),
        aperture_s=recipe.aperture_s,
        estimator=estimator or recipe.estimator,
    )
