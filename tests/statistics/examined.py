"""A run that examines itself beside a plain one of the same time: how often does U hold the value at the working
current, how wide is it, what is said, and is it true?

Truth is the mean resistance of the specimen while it was read at the working current. Two faults at once are among the
benches.

    python -m tests.statistics.examined [SEEDS]
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from benchapp.recipe import StopRule
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

CLEAN = ("shunt", "busbar_joint", "heated_room", "crimp_contact", "noisy_source")
EFFECTS = ("settling", "warming", "even", "level")
# What is there to be found on each bench; bond_wire and cable_sample warm by too little to be found each time.
TRUE = {
    "warm_shunt": {"warming"},
    "cable_drum": {"settling"},
    "soaking_insulation": {"settling"},
    "filmed_contact": {"level"},
    "lopsided_source": {"even"},
    "bond_wire": {"level"},
    "cable_sample": {"warming", "level"},
    "film and absorption": {"level", "settling"},
    "warmth and absorption": {"warming", "settling"},
    "warmth and film": {"warming", "level"},
    "film and lopsided": {"level", "even"},
}
# Shipped benches on which a lead, a hand or an instrument does wrong; what is flagged not valid states no value.
OTHERS = (
    "bad_day",
    "coarse_range",
    "exchanged_leads",
    "foreign_pair",
    "gain_error",
    "hand_on_terminal",
    "humming_shop",
    "loose_contact",
    "one_way_source",
    "open_sense_lead",
    "restless_contact",
)
BENCHES = (*CLEAN, *TRUE, *OTHERS)
_CYCLE_COUNTS = (9, 27)


def bench(name: str) -> Scenario:
    """A shipped bench, or one with two faults."""
    if name == "film and absorption":
        film = load_scenario("filmed_contact")
        return replace(film, wiring=replace(film.wiring, absorption=0.01, absorption_time_constant_s=0.05))
    if name == "film and lopsided":
        film = load_scenario("filmed_contact")
        return replace(film, source=replace(film.source, asymmetry=0.001))
    if name.startswith("warmth"):
        warm = load_scenario("warm_shunt")
        if name.endswith("film"):
            return replace(warm, specimen=replace(warm.specimen, cubic_ohm_per_A2=2e-7))
        return replace(warm, wiring=replace(warm.wiring, absorption=0.002, absorption_time_constant_s=0.05))
    return load_scenario(name)


@dataclass(frozen=True, slots=True)
class Trial:
    """Errors and half-widths of both, in ohm, what was found, and whether a valid value was stated."""

    plain_error: float
    plain_U: float
    error: float
    U: float
    found: frozenset[str]
    valid: bool


def trial(name: str, cycles: int, seed: int) -> Trial:
    """One run of each kind on the same bench and seed."""
    scenario = bench(name)
    examined = Rehearsal(scenario, seed)
    examined.run(recipe_of(scenario, examine=True, stop=StopRule(None, cycles=cycles)))
    plain = Rehearsal(scenario, seed)
    plain.run(recipe_of(scenario, stop=StopRule(None, duration_s=examined.last.time_s)))
    one, two = examined.statement(), plain.estimate
    looked = one.estimate.examined
    assert looked is not None
    return Trial(
        two.resistance_ohm - _truth(plain),
        two.expanded_uncertainty_ohm,
        one.resistance_ohm - _truth(examined),
        one.expanded_uncertainty_ohm,
        frozenset(effect.name for effect in looked.effects if effect.found),
        str(one.validity) != "not-valid",
    )


def _truth(rehearsal: Rehearsal) -> float:
    levels = np.array([abs(batch.readings[-1].current_A) for batch in rehearsal.batches if batch.readings])
    working = levels > 0.9 * levels.max()
    cubic = rehearsal.scenario.specimen.cubic_ohm_per_A2 * float(levels.max()) ** 2
    return float(np.array(rehearsal.resistances)[working].mean()) + cubic


_BLIND_SHARES = (2, 4, 8, 16, 40)  # of U of a plain run, of an EMF that follows the current's sign


def blind(share: float, third: bool, seed: int) -> tuple[bool, bool, bool]:
    """Of one run with an EMF that follows the sign: whether U holds R, whether it was told, and whether a sentence says
    that it may be there.
    """
    scenario = load_scenario("shunt")
    U_ohm = _plain_U()
    current_A = recipe_of(scenario).current_A
    scenario = replace(scenario, specimen=replace(scenario.specimen, following_V=share * U_ohm * current_A))
    run = Rehearsal(scenario, seed)
    run.run(recipe_of(scenario, examine=True, third_level=third, stop=StopRule(None, cycles=_CYCLE_COUNTS[0])))
    statement = run.statement()
    assert statement.estimate.examined is not None
    told = any(effect.found for effect in statement.estimate.examined.effects if effect.name in ("level", "following"))
    untested = any("follows the current's sign" in item.text for item in statement.not_tested)
    return abs(statement.resistance_ohm - _truth(run)) <= statement.expanded_uncertainty_ohm, told, untested


@cache
def _plain_U() -> float:
    return trial("shunt", _CYCLE_COUNTS[0], 30_000).plain_U


def _blind_sides(pool: ProcessPoolExecutor, seeds: int) -> None:
    print(f"an EMF that follows the current's sign, shunt, {_CYCLE_COUNTS[0]} cycles, {seeds} seeds")
    print(f"{'bias/U_p':<10}{'levels':<8}{'covered':>9}{'told':>8}{'said untested':>15}")
    for third in (False, True):
        for share in _BLIND_SHARES:
            jobs = range(60_000, 60_000 + seeds)
            found = np.array(list(pool.map(blind, [float(share)] * seeds, [third] * seeds, jobs, chunksize=5)))
            inside, told, said = found.mean(axis=0)
            print(f"{share:<10}{3 if third else 2:<8}{inside:>9.1%}{told:>8.1%}{said:>15.1%}", flush=True)


def main(seeds: int) -> None:
    """Print the table, by length."""
    with ProcessPoolExecutor() as pool:
        for cycles in _CYCLE_COUNTS:
            _table(pool, cycles, seeds)
        _blind_sides(pool, min(seeds, 60))


def _table(pool: ProcessPoolExecutor, cycles: int, seeds: int) -> None:
    print(f"{cycles} cycles, {seeds} seeds: truth inside U; U over that of a plain run as long (median, 90 %); said")
    print(f"{'bench':<24}{'plain':>8}{'examined':>10}{'U/U_p':>8}{'90 %':>8}{'not valid':>11}  found")
    hits, ratios = [], []
    for name in BENCHES:
        jobs = range(30_000, 30_000 + seeds)
        found = list(pool.map(trial, [name] * seeds, [cycles] * seeds, jobs, chunksize=5))
        plain = np.mean([abs(one.plain_error) <= one.plain_U for one in found])
        inside = np.array([abs(one.error) <= one.U for one in found if one.valid])
        typical = float(np.median([one.plain_U for one in found]))
        ratio = np.array([one.U / typical for one in found])
        said = {effect: np.mean([effect in one.found for one in found]) for effect in EFFECTS}
        told = ", ".join(
            f"{effect} {share:.0%}{'' if effect in TRUE.get(name, set()) else ' (false)'}"
            for effect, share in said.items()
            if share > 0
        )
        hits.append(inside)
        if name in CLEAN:
            ratios.append(float(np.median(ratio)))
        print(
            f"{name:<24}{plain:>8.1%}{inside.mean() if len(inside) else math.nan:>10.1%}{np.median(ratio):>8.3g}"
            f"{np.quantile(ratio, 0.9):>8.3g}{1 - len(inside) / seeds:>11.1%}  {told or 'nothing'}",
            flush=True,
        )
    pooled = np.concatenate(hits)
    print(
        f"pooled {pooled.mean():.1%} of {len(pooled)}; clean benches: median of the medians of U/U_p"
        f" {np.median(ratios):.2f}, largest {max(ratios):.2f}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
