"""A source that is off by 0.3 %, drifts and gives two signs that differ: does U hold the truth, as set and as measured?

Gains of both voltmeters and the value of the resistor are drawn from their accuracy data.

    python -m tests.statistics.measured_current [RUNS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard, InstrumentSpec, RangeAccuracy
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

_PPM_V, _PPM_I, _PPM_R = 50.0, 40.0, 20.0  # limits of both gains; expanded uncertainty of the resistor, k = 2
_SOURCE_PPM = 3000.0


def inside(seed: int, measured: bool) -> tuple[bool, float]:
    """Whether U holds the truth, and how large it is relative to R."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario("gain_error")
    true_ohm = 0.01 * (1 + rng.normal(0.0, _PPM_R / 2) * 1e-6)
    scenario = replace(
        scenario,
        source=replace(scenario.source, gain_error=float(rng.uniform(-_SOURCE_PPM, _SOURCE_PPM)) * 1e-6),
        voltmeter=replace(scenario.voltmeter, gain_error=float(rng.uniform(-_PPM_V, _PPM_V)) * 1e-6),
        current_voltmeter=replace(scenario.current_voltmeter, gain_error=float(rng.uniform(-_PPM_I, _PPM_I)) * 1e-6),
        current_shunt=replace(scenario.current_shunt, resistance_ohm=true_ohm),
    )
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario, current_shunt_ohm=0.01 if measured else None))
    facts = rehearsal.facts
    card = InstrumentCard(
        InstrumentSpec((RangeAccuracy(facts.range_V or 1.0, _PPM_V, 0.0),)),
        InstrumentSpec((RangeAccuracy(facts.source_range_A or 10.0, _SOURCE_PPM + 400.0, 0.0),)),
        current_voltmeter=InstrumentSpec((RangeAccuracy(facts.current_range_V or 1.0, _PPM_I, 0.0),)),
        current_shunt=InstrumentSpec(uncertainty_ppm=_PPM_R),
    )
    stated = rehearsal.statement(BudgetPlan(card))
    assert stated.scope == "all"
    assert stated.budget is not None
    assert ("source current" in {row.name for row in stated.budget.contributions}) is not measured
    U = stated.expanded_uncertainty_ohm
    return abs(stated.resistance_ohm - rehearsal.truth) <= U, U / rehearsal.truth


def main(runs: int) -> None:
    """Print the table."""
    print(
        f"gain drawn within 0.3 %, 5 ppm/s of drift, 400 ppm between the signs; {runs} runs; truth inside U (goal 94 %)"
    )
    with ProcessPoolExecutor() as pool:
        for measured in (True, False):
            found = list(pool.map(inside, range(9000, 9000 + runs), [measured] * runs, chunksize=8))
            share, U = sum(hit for hit, _ in found) / runs, float(np.mean([u for _, u in found]))
            how = "measured over the resistor" if measured else "as set"
            print(f"  current {how:<28}{share:>8.1%}   mean U {1e6 * U:8.1f} ppm", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
