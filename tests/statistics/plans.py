"""Does a plan hold? The median U of 24 runs over the predicted one; recipes that it writes; floors that it tells.

The noise is that of the bench's own physics; the pace is learnt from the first run of each setting.

    python -m tests.statistics.plans [SEEDS]
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.noise import Noise
from benchapp.plan.learnt import learn
from benchapp.plan.optimum import Wish, plan
from benchapp.plan.weights import Pace, scatter
from benchapp.recipe import Recipe, StopRule
from benchapp.result.budget import BudgetPlan, least_uncertainty
from benchapp.result.card import Circuit, InstrumentCard, InstrumentSpec, RangeAccuracy
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

BENCHES = (
    "shunt",
    "busbar_joint",
    "heated_room",
    "crimp_contact",
    "noisy_source",
    "bond_wire",
    "cable_sample",
    "filmed_contact",
    "lopsided_source",
    "foreign_pair",
    "bad_day",
)
_BOLTZMANN_J_PER_K = 1.380649e-23
_GOOD = 0.15


def noise_of(scenario: Scenario) -> Noise:
    """What the physics of a bench makes."""
    v, wiring, R = scenario.voltmeter, scenario.wiring, scenario.specimen.resistance_ohm
    white = v.noise_V_per_rt_Hz**2 + 4 * _BOLTZMANN_J_PER_K * 296.15 * wiring.sense_leads_ohm
    white += (R * scenario.source.noise_A_per_rt_Hz) ** 2
    walk = scenario.thermal_emf.random_walk_V_per_rt_s
    return Noise(white, v.noise_V_per_rt_Hz**2 * v.flicker_corner_Hz, walk)


@dataclass(frozen=True, slots=True)
class Setting:
    """One bench, and how it is measured."""

    bench: str
    nplc: float
    signs: str
    duration_s: float
    examine: bool = False

    @property
    def recipe(self) -> Recipe:
        """Of one run."""
        stop = StopRule(None, duration_s=self.duration_s)
        return recipe_of(load_scenario(self.bench), nplc=self.nplc, signs=self.signs, stop=stop, examine=self.examine)


def settings() -> Iterator[Setting]:
    """110 plain ones, and 20 that examine themselves."""
    for bench in BENCHES:
        for nplc in (1.0, 5.0, 10.0):
            for signs in ("+-", "+--+"):
                for duration_s in (10.0, 40.0):
                    if nplc < 10 or duration_s > 10:
                        yield Setting(bench, nplc, signs, duration_s)
        # Where an effect is found U holds it too: that is not noise.
        for duration_s in (20.0, 40.0) if bench != "lopsided_source" else ():
            yield Setting(bench, 1.0, "+-", duration_s, examine=True)


def ratio(setting: Setting, seeds: int) -> float:
    """Median of the U that are stated, over the predicted."""
    found, count, pace = [], [], Pace()
    scenario, recipe = load_scenario(setting.bench), setting.recipe
    for seed in range(seeds):
        run = Rehearsal(scenario, 70_000 + seed)
        run.run(recipe)
        found.append(run.estimate.repeatability_95_ohm)
        t, I, V = np.array([reading[1:] for reading in run.readings]).T
        count.append(len(t))
        if not seed:
            pace = learn(recipe, t, I, V, "run").pace if len(t) >= 100 else Pace(0.004, 0.0)
    return (
        float(np.median(found)) / scatter(recipe, round(float(np.median(count))), noise_of(scenario), pace).median_U_ohm
    )


def card(voltmeter_ppm: float, source_ppm: float) -> InstrumentCard:
    """Accuracy data of one range each."""
    return InstrumentCard(
        InstrumentSpec((RangeAccuracy(1e-3, voltmeter_ppm, 2.0), RangeAccuracy(1e-2, voltmeter_ppm, 2.0))),
        InstrumentSpec((RangeAccuracy(10.0, source_ppm, 5.0),)),
        Circuit(),
    )


def meets(bench: str, part: float, seed: int) -> bool:
    """Whether a run of the recipe that a plan writes has a whole U at or below the target."""
    scenario = load_scenario(bench)
    R = scenario.specimen.resistance_ohm
    known = BudgetPlan(card(50.0, 60.0))
    wish = Wish(R, part * R, noise_of(scenario), known, min(10.0, scenario.source.max_current_A), most_power_W=0.05)
    recipe = plan(wish).proposals[0].recipe
    run = Rehearsal(scenario, seed)
    run.run(recipe)
    return run.statement(known).expanded_uncertainty_ohm <= part * R


def floors(cases: int) -> tuple[int, int, int]:
    """Of random wishes: how many are out of reach of any run, in how many of these the floor is told, and in how many
    reached ones it is wrongly above the target.
    """
    rng = np.random.default_rng(9)
    out, told, wrong = 0, 0, 0
    for _ in range(cases):
        R = float(10.0 ** rng.uniform(-4.5, -2))
        known = BudgetPlan(card(*(float(x) for x in 10.0 ** rng.uniform(0.5, 2.7, 2))))
        part = float(10.0 ** rng.uniform(-5.5, -2.5))
        wish = Wish(R, part * R, Noise((1e-8) ** 2), known, 5.0, most_power_W=float(10.0 ** rng.uniform(-5, -1)))
        found = plan(wish)
        most = min(5.0, math.sqrt((wish.most_power_W or 1.0) / R), 1e-2 / R)
        grid = np.geomspace(most / 100, most, 400)
        least = min(least_uncertainty(R, float(I), known) for I in grid)
        if least >= part * R:
            out += 1
            told += not found.proposals and found.floor is not None and found.floor.U_ohm >= part * R
        else:
            wrong += not found.proposals and found.floor is not None and found.floor.U_ohm > 1.1 * part * R
    return out, told, wrong


def main(seeds: int) -> None:
    """Print the figures."""
    with ProcessPoolExecutor() as pool:
        every = list(settings())
        ratios = np.array(list(pool.map(ratio, every, [seeds] * len(every))))
        for examine in (False, True):
            chosen = np.array([one.examine == examine for one in every])
            some = ratios[chosen]
            good = np.abs(some - 1) <= _GOOD
            kind = "examined" if examine else "plain"
            print(
                f"{kind}: median of {seeds} U over predicted, {len(some)} settings: within"
                f" {_GOOD:.0%} in {good.mean():.1%}; {some.min():.2f} to {some.max():.2f}, median {np.median(some):.2f}"
            )
        for one, value in zip(every, ratios, strict=True):
            if abs(value - 1) > _GOOD:
                kind = " examined" * one.examine
                print(f"  {one.bench} {one.nplc:g} PLC {one.signs} {one.duration_s:g} s{kind}: {value:.2f}")
        for bench, part in (("shunt", 3e-4), ("busbar_joint", 5e-4), ("crimp_contact", 3e-4)):
            met = np.array(list(pool.map(meets, [bench] * seeds, [part] * seeds, range(seeds))))
            print(f"recipe written for {part * 1e6:g} ppm on {bench}: target met in {met.mean():.0%} of {seeds} runs")
    out, told, wrong = floors(60)
    print(f"floor told in {told} of {out} wishes that no run can reach; wrongly in {wrong} of {60 - out}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
