"""A copper cable in air that warms by 5 K: does U hold the value at 20 degC, corrected reading by reading?

The thermometer's error, the coefficient and the cable's lag are drawn from what is said of them.

    python -m tests.statistics.temperature [RUNS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchapp.analysis.temperature import alpha_at
from benchapp.result.budget import BudgetPlan
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

_U_K, _U_ALPHA, _LAG_OFF = 0.05, 2e-5, 0.2  # standard uncertainties; the lag within so much of what the recipe states


def inside(seed: int) -> bool:
    """Whether U holds the truth."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario("warming_cable")
    alpha20 = 0.00393 + float(rng.normal(0.0, _U_ALPHA))
    alpha23 = alpha_at(alpha20, 20.0, 23.0)
    lag_s = 2.0 * (1 + float(rng.uniform(-_LAG_OFF, _LAG_OFF)))
    scenario = replace(
        scenario,
        specimen=replace(scenario.specimen, temperature_coefficient_per_K=alpha23, air_lag_s=lag_s),
        thermometer=replace(scenario.thermometer, error_K=float(rng.normal(0.0, _U_K))),
    )
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario))
    stated = rehearsal.statement(BudgetPlan(temperature_uncertainty_K=_U_K, alpha_uncertainty_per_K=_U_ALPHA))
    truth = scenario.specimen.resistance_ohm / (1 + alpha20 * 3.0)
    return abs(stated.resistance_ohm - truth) <= stated.expanded_uncertainty_ohm


def main(runs: int) -> None:
    """Print the share."""
    with ProcessPoolExecutor() as pool:
        share = sum(pool.map(inside, range(31000, 31000 + runs), chunksize=4)) / runs
    print(f"5 K in 250 s over a copper cable, {runs} runs: the value at 20 degC inside U in {share:.1%} (goal 94 %)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
