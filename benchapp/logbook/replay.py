"""A run's result again, from its recorded readings, by the code that stated it live."""

from __future__ import annotations

from benchapp.analysis.estimate import ClosedBlock, Estimate, estimate_readings
from benchapp.analysis.traps.detect import with_traps
from benchapp.logbook.query import RunRecord
from benchapp.recipe import Recipe, build_recipe, entries_from_text
from benchapp.result.budget import stated


def recipe_of(record: RunRecord) -> Recipe:
    """The recipe that the run was measured by."""
    return build_recipe(entries_from_text(record.summary.recipe_toml, f"run {record.summary.run_id}"))


def replay(record: RunRecord, recipe: Recipe) -> tuple[Estimate, list[ClosedBlock]]:
    """The estimate and the blocks of a recorded run."""
    columns = record.readings
    estimate, blocks = estimate_readings(
        columns.time_s,
        columns.current_A,
        columns.voltage_V,
        emf_order=recipe.emf_order,
        middle_A=recipe.middle_A,
        pauses=columns.pauses,
        aperture_s=recipe.aperture_s,
        estimator=recipe.estimator,
    )
    estimate = with_traps(estimate, columns.time_s, columns.current_A, columns.voltage_V, blocks)
    return stated(estimate, recipe), blocks
