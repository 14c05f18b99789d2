"""What is stated of a run, from its readings and events: once, or once for each part where a scanner connected several.

The same code states a run at its end, out of the record, and, with parts, while it goes on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.decision import Verdict
from benchapp.analysis.part import analyse_part
from benchapp.analysis.turns import PartReadings, TurnValue, parts_in, ratio_in_turns, ratio_moves, without
from benchapp.events import Event, EventKind, RunEnd
from benchapp.logbook.replay import analyse_by, corrected_currents
from benchapp.recipe import Recipe
from benchapp.result.decision import DecisionRule
from benchapp.result.in_turns import ByRatio, Standard, of_moving, of_standard, value_by_ratio, without_ratio
from benchapp.result.statement import Circumstances, LeftOut, Statement, Terms, make_statement
from benchapp.result.validity import Validity
from benchapp.run.terms import circumstances_of

Floats = NDArray[np.float64]
_CURRENTS = 20_000  # while the run goes on, to see what is not tested: the last ones


def state_run(
    recipe: Recipe,
    readings: Floats,
    events: Sequence[Event],
    temperatures: Floats,
    terms: Terms,
    end: RunEnd | None,
    *,
    left_out: Sequence[LeftOut] = (),
    final: bool = True,
) -> tuple[Statement, ...]:
    """One statement, or one for each of the recipe's parts in its order. `readings` (3, n): time_s, current_A,
    voltage_V; `temperatures` (2, m): time_s, degrees Celsius.
    """
    kept = np.ones(readings.shape[1], dtype=bool)
    for stretch in left_out:
        kept &= (readings[0] < stretch.start_s) | (readings[0] > stretch.end_s)
    beside = replace(circumstances_of(events, end), left_out=tuple(left_out))
    pauses = [event.reading for event in events if event.kind is EventKind.PAUSE]
    if recipe.channels:
        return _state_parts(recipe, readings, kept, events, pauses, temperatures, terms, beside, final=final)
    places = sorted({int(kept[:first].sum()) for first in [*pauses, *np.flatnonzero(~kept).tolist()]})
    t, I, V = readings[:, kept]
    estimate, _ = analyse_by(recipe, t, I, V, places, temperatures, np.flatnonzero(kept), live=not final)
    currents = readings[1] if final else readings[1][-_CURRENTS:]
    return (make_statement(estimate, currents, terms, beside, final=final),)


def headline(statements: Sequence[Statement], part: str = "") -> Statement:
    """The one that stands for a run: of the part named, else of the worst of those that are no standard."""
    own = [stated for stated in statements if part and stated.part == part]
    specimens = [stated for stated in statements if not stated.is_standard]
    return own[0] if own else max(specimens or statements, key=_badness)


def _badness(stated: Statement) -> int:
    by_gate = {Validity.NOT_VALID: 5, Validity.DOUBTFUL: 4, Validity.VALID: 0}[stated.validity]
    by_verdict = {Verdict.FAIL: 3, Verdict.UNDECIDED: 2, Verdict.PASS: 0, None: 1}[stated.verdict]
    return by_gate or by_verdict


def _state_parts(
    recipe: Recipe,
    readings: Floats,
    kept: NDArray[np.bool_],
    events: Sequence[Event],
    pauses: Sequence[int],
    temperatures: Floats,
    terms: Terms,
    beside: Circumstances,
    *,
    final: bool,
) -> tuple[Statement, ...]:
    corrected = readings.copy()
    corrected[1] = corrected_currents(recipe, readings[0], readings[1], temperatures)
    starts = [(event.reading, event.text) for event in events if event.kind is EventKind.PART]
    found = {part.name: without(part, kept) for part in parts_in(starts, readings.shape[1], pauses)}
    nothing = PartReadings("", np.empty(0, dtype=np.intp), (), ())
    stated: list[Statement] = []
    standard: tuple[Statement, list[TurnValue]] | None = None
    for number, channel in enumerate(recipe.channels):
        part = found.get(channel.name, nothing)
        is_standard = number == 0 and recipe.standard_ohm is not None
        # A standard is no specimen: its own coefficient and temperature stand in the budget.
        estimate, turns = analyse_part(
            (readings if is_standard else corrected)[:, part.indices],
            part,
            emf_order=recipe.emf_order,
            middle_A=recipe.middle_A,
            aperture_s=recipe.aperture_s,
            estimator=recipe.estimator,
        )
        rule = DecisionRule() if is_standard else terms.rule
        own = replace(terms, part=channel.name, is_standard=is_standard, rule=rule)
        around = replace(beside, unsettled=_unsettled(events, channel.name))
        currents = readings[1, part.indices]
        if standard is None:
            stated.append(make_statement(estimate, currents, own, around, final=final))
        else:
            found_ratio = _ratio(recipe, standard, channel.name, turns, terms)
            stated.append(make_statement(estimate, currents, own, around, found_ratio, final=final))
        if is_standard:
            standard = stated[0], turns
    return tuple(stated)


def _ratio(
    recipe: Recipe, standard: tuple[Statement, list[TurnValue]], part: str, turns: list[TurnValue], terms: Terms
) -> ByRatio:
    """The part's value by its ratio to the standard; what the standard's own readings showed counts for it, too."""
    stated, of_it = standard
    both = [*of_it, *turns]
    t, R = [turn.time_s for turn in both], [turn.resistance_ohm for turn in both]
    is_standard = [True] * len(of_it) + [False] * len(turns)
    try:
        ratio = ratio_in_turns(t, is_standard, R)
    except ValueError as error:
        return without_ratio(str(error))
    certified = Standard(
        recipe.standard_ohm or 0.0,
        recipe.standard_uncertainty_ohm,
        recipe.standard_coefficient_per_K,
        recipe.standard_away_K,
    )
    moves = ratio_moves(t, is_standard, R)
    found = value_by_ratio(ratio, certified, (stated.part, part), len(both), recipe.current_A, terms.known)
    return replace(found, flags=(*found.flags, *of_moving(moves), *of_standard(stated.part, stated.reasons)))


def _unsettled(events: Sequence[Event], part: str) -> tuple[str, ...]:
    """What still moved when that part was connected for the first time."""
    connected, texts = "", []
    for event in events:
        if event.kind is EventKind.PART:
            connected = event.text
        elif event.kind is EventKind.UNSETTLED and connected == part:
            texts.append(event.text)
    return tuple(texts)
