"""From a target uncertainty to a recipe: current, range, aperture, dwell and time; or what stands in the way."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache

from benchapp.analysis.budget import Contribution
from benchapp.analysis.examined.cycle import LEAST_CYCLES
from benchapp.analysis.noise import Noise
from benchapp.analysis.student import coverage_factor
from benchapp.plan.weights import Pace, Scatter, readings_of_recipe, scatter
from benchapp.recipe import Recipe, StopRule
from benchapp.result.budget import BudgetPlan, Scope, least_uncertainty, whole_uncertainty
from benchapp.result.card import InstrumentSpec

APERTURES_NPLC = (1.0, 2.0, 5.0, 10.0, 20.0)
DWELLS = (1, 2, 4, 8, 16)
_NICE = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
_DECADES = 2  # below the largest permitted current that are tried
_ABOUT_AS_GOOD = 1.1
_ROOM = 1.1  # of a range above the voltage: an EMF stands beside it
_LEAST_READINGS = 96  # to look for faults in
_MOST_READINGS = 10_000_000
_LEAST_COMPLIANCE_V = 1.0
_LEAST_SETTLE_S = 0.02


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be measured and how well, what is permitted, and what is known of the bench.

    `target_ohm` is the whole expanded uncertainty; None of the limits: without one. `known` holds the accuracy data.
    """

    nominal_ohm: float
    target_ohm: float
    noise: Noise
    known: BudgetPlan
    most_current_A: float
    most_power_W: float | None = None
    most_voltage_V: float | None = None
    most_time_s: float | None = None
    pace: Pace = field(default_factory=Pace)
    settle_s: float | None = None
    line_frequency_Hz: float = 50.0
    lead_ohm: float = 0.2  # of the source's circuit, for the compliance
    examine: bool = False


@dataclass(frozen=True, slots=True)
class Proposal:
    """A recipe with what it is expected to give: the whole U that half the runs and nine of ten stay below."""

    recipe: Recipe
    readings: int
    time_s: float
    power_W: float
    voltage_V: float
    scatter: Scatter
    median_U_ohm: float
    mostly_U_ohm: float
    scope: Scope
    largest: Contribution


@dataclass(frozen=True, slots=True)
class Floor:
    """What no longer run goes below: U of all that is not scatter at the best current, and its largest term.

    `needed_factor` is by how much that term alone would have to shrink to leave a tenth of the variance to the
    readings; infinite where even without it the rest is too much.
    """

    current_A: float
    U_ohm: float
    largest: Contribution
    needed_factor: float


@dataclass(frozen=True, slots=True)
class Plan:
    """`proposals`, the best first, then others by power; empty where the target is not reached. `floor` always;
    `in_time` is what the permitted time would reach, None where there is no such limit or it suffices.
    """

    proposals: tuple[Proposal, ...]
    floor: Floor | None
    in_time: Proposal | None


def plan(wish: Wish) -> Plan:
    """Search currents, apertures and dwells for the shortest time."""
    currents = list(_currents(wish))
    found = [proposal for I in currents if (proposal := _best_at(wish, I)) is not None]
    floor = _floor(wish, currents)
    most = math.inf if wish.most_time_s is None else wish.most_time_s
    fitting = [proposal for proposal in found if proposal.time_s <= most]
    if not fitting:
        in_time = None if wish.most_time_s is None else _most_in_time(wish, currents)
        return Plan((), floor, in_time)
    shortest = min(proposal.time_s for proposal in fitting)
    good = [proposal for proposal in fitting if proposal.time_s <= _ABOUT_AS_GOOD * shortest]
    best = min(good, key=lambda proposal: proposal.power_W)
    others = [other for other in fitting if other.power_W < 0.6 * best.power_W]
    return Plan((best, *_thinned(others)), floor, None)


def _thinned(proposals: list[Proposal]) -> Iterator[Proposal]:
    """Three at most, each with half the power of the one before or less."""
    power, count = math.inf, 0
    for proposal in sorted(proposals, key=lambda one: -one.power_W):
        if proposal.power_W <= power and count < 3:
            yield proposal
            power, count = proposal.power_W / 2, count + 1


def _currents(wish: Wish) -> Iterator[float]:
    """Round ones, from the largest permitted down."""
    R, most = wish.nominal_ohm, wish.most_current_A
    if wish.most_power_W is not None:
        most = min(most, math.sqrt(wish.most_power_W / R))
    if wish.most_voltage_V is not None:
        most = min(most, wish.most_voltage_V / R)
    for role, divide in (("source", 1.0), ("voltmeter", R * _ROOM)):
        spec: InstrumentSpec | None = getattr(wish.known.card, role, None)
        if spec is not None and spec.ranges:
            most = min(most, max(row.range_ for row in spec.ranges) / divide)
    decade = math.floor(math.log10(most))
    for power in range(decade, decade - _DECADES - 1, -1):
        for digit in reversed(_NICE):
            I = float(f"{digit * 10.0**power:.3g}")
            if most / 10.0**_DECADES <= I <= most * (1 + 1e-9):
                yield I


def known_at(wish: Wish, current_A: float, aperture_s: float) -> BudgetPlan:
    """The accuracy data on the ranges that would be chosen."""
    card = wish.known.card
    rows = [] if card is None or card.voltmeter is None else card.voltmeter.ranges
    fitting = [row.range_ for row in rows if row.range_ >= _ROOM * current_A * wish.nominal_ohm]
    of_source = None if card is None or card.source is None else card.source.at(current_A)
    return replace(
        wish.known,
        range_V=min(fitting) if fitting else None,
        source_range_A=None if of_source is None else of_source.range_,
        settle_s=_settle_s(wish),
        aperture_s=aperture_s,
    )


def _settle_s(wish: Wish) -> float:
    """The delay asked for; else what leaves a twentieth of the target of a known settling, 20 ms at least."""
    if wish.settle_s is not None:
        return wish.settle_s
    card = wish.known.card
    tau = None if card is None else card.circuit.settling_time_constant_s
    if not tau:
        return _LEAST_SETTLE_S
    needed = tau * math.log(max(1.0, 40 * wish.nominal_ohm / wish.target_ohm))
    return max(_LEAST_SETTLE_S, math.ceil(needed * 1e3) * 1e-3)


def _recipe(wish: Wish, current_A: float, nplc: float, dwell: int) -> Recipe:
    needed_V = 1.5 * current_A * (wish.nominal_ohm + wish.lead_ohm)
    return Recipe(
        current_A,
        compliance_V=max(_LEAST_COMPLIANCE_V, float(f"{needed_V:.2g}")),
        range_V=known_at(wish, current_A, nplc / wish.line_frequency_Hz).range_V,
        nplc=nplc,
        line_frequency_Hz=wish.line_frequency_Hz,
        settle_s=_settle_s(wish),
        signs="+-" if wish.examine else "+" * dwell + "-" * dwell,
        nominal_ohm=wish.nominal_ohm,
        examine=wish.examine,
        stop=StopRule(None, cycles=LEAST_CYCLES) if wish.examine else StopRule(None, duration_s=1.0),
    )


def _best_at(wish: Wish, current_A: float) -> Proposal | None:
    """The shortest at one current; of about as short ones that with two readings a sign, which shows settling."""
    if least_uncertainty(wish.nominal_ohm, current_A, known_at(wish, current_A, 0.02)) >= wish.target_ohm:
        return None
    found = []
    for nplc in APERTURES_NPLC:
        for dwell in (1,) if wish.examine else DWELLS:
            proposal = _shortest(wish, _recipe(wish, current_A, nplc, dwell))
            if proposal is not None:
                found.append((proposal, dwell))
    if not found:
        return None
    shortest = min(proposal.time_s for proposal, _ in found)
    good = [pair for pair in found if pair[0].time_s <= _ABOUT_AS_GOOD * shortest]
    return min(good, key=lambda pair: (abs(pair[1] - 2), pair[0].time_s))[0]


def _shortest(wish: Wish, recipe: Recipe) -> Proposal | None:
    """The least number of readings with which nine of ten runs reach the target."""
    a_step = recipe.cycle.readings if recipe.examine else len(recipe.signs)
    least = LEAST_CYCLES * a_step if recipe.examine else -(-_LEAST_READINGS // a_step) * a_step
    few, many = least // a_step, least // a_step
    while proposal_of(wish, recipe, many * a_step).mostly_U_ohm > wish.target_ohm:
        few, many = many, 2 * many
        if many * a_step > _MOST_READINGS:
            return None
    while many - few > max(1, many // 100):
        middle = (few + many) // 2
        if proposal_of(wish, recipe, middle * a_step).mostly_U_ohm > wish.target_ohm:
            few = middle
        else:
            many = middle
    return proposal_of(wish, recipe, many * a_step)


def proposal_of(wish: Wish, recipe: Recipe, readings: int) -> Proposal:
    """What that many readings by a recipe would give."""
    R, I = wish.nominal_ohm, recipe.current_A
    time_s = readings * step_s(recipe, wish.pace)
    found = scatter(recipe, readings, wish.noise.at(R * I), wish.pace)
    known = known_at(wish, I, recipe.aperture_s)
    median, mostly = (
        whole_uncertainty(R, U / coverage_factor(found.degrees), found.degrees, I, known)
        for U in (found.median_U_ohm, found.mostly_U_ohm)
    )
    stop = StopRule(None, duration_s=float(f"{time_s * 1.005:.3g}"))
    if recipe.examine:
        stop = StopRule(None, cycles=readings // recipe.cycle.readings)
    return Proposal(
        replace(recipe, stop=stop),
        readings,
        time_s,
        I * I * R,
        I * R,
        found,
        median.budget.expanded_uncertainty,
        mostly.budget.expanded_uncertainty,
        median.scope,
        median.budget.contributions[0],
    )


@lru_cache(maxsize=256)
def step_s(recipe: Recipe, pace: Pace) -> float:
    """Mean time of a reading."""
    count = 2 * recipe.cycle.readings if recipe.examine else 8 * len(recipe.signs)
    return readings_of_recipe(recipe, count + 1, pace).step_s


def _floor(wish: Wish, currents: list[float]) -> Floor | None:
    """At the current at which what is not scatter is least."""
    if not currents:
        return None
    I = min(currents, key=lambda A: least_uncertainty(wish.nominal_ohm, A, known_at(wish, A, 0.02)))
    whole = whole_uncertainty(wish.nominal_ohm, 0.0, math.inf, I, known_at(wish, I, 0.02))
    terms = [term for term in whole.budget.contributions if term.name != "repeatability"]
    if not terms or whole.budget.expanded_uncertainty <= 0:
        return None
    largest = max(terms, key=lambda term: term.contribution)
    k = whole.budget.coverage_factor
    rest = whole.budget.standard_uncertainty**2 - largest.contribution**2
    left = 0.9 * (wish.target_ohm / k) ** 2 - rest
    factor = largest.contribution / math.sqrt(left) if left > 0 else math.inf
    return Floor(I, whole.budget.expanded_uncertainty, largest, factor)


def _most_in_time(wish: Wish, currents: list[float]) -> Proposal | None:
    """The least U that the permitted time allows."""
    assert wish.most_time_s is not None
    found = []
    for current_A in currents[::3]:
        for nplc in APERTURES_NPLC:
            for dwell in (1,) if wish.examine else DWELLS:
                recipe = _recipe(wish, current_A, nplc, dwell)
                readings = int(wish.most_time_s / step_s(recipe, wish.pace))
                if readings >= (LEAST_CYCLES * recipe.cycle.readings if wish.examine else _LEAST_READINGS):
                    found.append(proposal_of(wish, recipe, readings))
    return min(found, key=lambda proposal: proposal.mostly_U_ohm) if found else None
