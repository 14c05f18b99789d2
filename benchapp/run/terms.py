"""What a run is stated under, from its recipe, and what happened beside its readings, from its events."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from benchapp.events import Event, EventKind, RunEnd
from benchapp.recipe import Recipe, StopRule
from benchapp.result.budget import BudgetPlan
from benchapp.result.decision import DecisionRule
from benchapp.result.material import Geometry
from benchapp.result.statement import Circumstances, Terms


def terms_of(
    recipe: Recipe, known: BudgetPlan, geometry: Geometry | None = None, *, tells_compliance: bool = False
) -> Terms:
    """The terms of a recipe."""
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
