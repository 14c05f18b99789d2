"""What a run is stated under, from its recipe, and what happened beside its readings, from its events."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.temperature import out_of_step_K
from benchapp.events import Event, EventKind, RunEnd
from benchapp.recipe import Recipe, StopRule
from benchapp.result.budget import BudgetPlan, TemperatureCorrection
from benchapp.result.decision import DecisionRule
from benchapp.result.material import Geometry
from benchapp.result.statement import Circumstances, Terms
from drivers.instrument import Setting

_COUNT = ("level", "compliance", "output", "range", "nplc", "aperture")  # what makes the number, or hurts


def terms_of(
    recipe: Recipe,
    known: BudgetPlan,
    geometry: Geometry | None = None,
    *,
    tells_compliance: bool = False,
    temperatures: NDArray[np.float64] | None = None,
    settings: Iterable[tuple[str, Setting]] = (),
) -> Terms:
    """The terms of a recipe; `temperatures` (2, n) are those of a run whose readings are corrected one by one;
    `settings` are what was set, by role.
    """
    if recipe.corrects_temperature and temperatures is not None and temperatures.shape[1]:
        known = replace(known, temperature=_through_run(recipe, known, temperatures))
    return Terms(
        current_A=recipe.current_A,
        rule=DecisionRule(recipe.low_ohm, recipe.high_ohm, recipe.rule, recipe.guard_band),
        known=replace(
            known,
            settle_s=recipe.settle_s,
            aperture_s=recipe.aperture_s,
            current_shunt_ohm=recipe.current_shunt_ohm,
        ),
        geometry=geometry,
        endless=recipe.stop == StopRule(None),
        estimator=str(recipe.estimator),
        emf_order=recipe.emf_order,
        tells_compliance=tells_compliance,
        unread=tuple(f"{role} {s.name}" for role, s in settings if not s.verified and s.name in _COUNT),
    )


def _through_run(recipe: Recipe, known: BudgetPlan, temperatures: NDArray[np.float64]) -> TemperatureCorrection:
    assert recipe.reference_C is not None
    assert recipe.alpha_per_K is not None
    return TemperatureCorrection(
        float(temperatures[1].mean()),
        recipe.reference_C,
        recipe.alpha_per_K,
        known.temperature_uncertainty_K,
        known.alpha_uncertainty_per_K,
        through_run=True,
        out_of_step_K=out_of_step_K(temperatures[0], temperatures[1], recipe.temperature_lag_s or 0.0),
    )


def circumstances_of(events: Iterable[Event], end: RunEnd | None) -> Circumstances:
    """What the instruments complained of, by role, and the end."""
    complaints: dict[str, list[str]] = {"source": [], "voltmeter": [], "current voltmeter": []}
    unsettled = []
    for event in events:
        if event.kind is EventKind.UNSETTLED:
            unsettled.append(event.text)
        elif event.kind is EventKind.COMPLAINT:
            role, _, text = event.text.partition(": ")
            complaints.setdefault(role, []).append(text)
    of_voltmeters = (*complaints["voltmeter"], *complaints["current voltmeter"])
    return Circumstances(end, tuple(complaints["source"]), of_voltmeters, unsettled=tuple(unsettled))
