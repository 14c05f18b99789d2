"""A comparison within one run by scanner, beside the same time spent on S, X, S as separate runs: how often the
interval of the ratio holds the truth, and how wide it is, while the source drifts, evenly or as it warms up.

    python -m tests.statistics.parts [RUNS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchapp.analysis.analyst import analyse
from benchapp.analysis.comparison import Turn, compare
from benchapp.analysis.student import coverage_factor
from benchapp.recipe import StopRule
from sim.scenario import load_scenario
from sim.world.config import Source
from tests.benchapp.simulated import Rehearsal, recipe_of

DRIFTS = {
    "none": Source(),
    "linear": Source(gain_error=0.002, gain_drift_per_s=5e-6),
    "curved": Source(gain_error=0.002, warm_up=4e-4, warm_up_time_constant_s=20.0),
    "noisy": Source(noise_A_per_rt_Hz=3e-6),
}
_ROUNDS, _READINGS = 6, 24


def one(drift: str, seed: int) -> tuple[tuple[bool, float], tuple[bool, float]]:
    """Whether truth lies inside, and the half-width: within one run, and of three runs as long together."""
    scenario = replace(load_scenario("shunt_beside_standard"), source=DRIFTS[drift])
    standard, part = (part.resistance_ohm for part in scenario.parts)
    truth = part / standard
    rehearsal = Rehearsal(scenario, seed)
    rehearsal.run(recipe_of(scenario, stop=StopRule(None, rounds=_ROUNDS), turn_readings=_READINGS))
    told = rehearsal.statement().comparison
    assert told is not None
    half = coverage_factor(told["degrees_of_freedom"], 0.95) * told["ratio_standard_uncertainty"]
    within = abs(told["ratio"] - truth) <= half, half
    third = (2 * _ROUNDS + 1) * _READINGS // 3 // 4 * 4
    apart = Rehearsal(scenario, seed + 10_000)
    apart.run(recipe_of(scenario, stop=StopRule(None, rounds=1), turn_readings=third))
    rows = np.array([row[1:] for row in apart.readings]).T
    turns = []
    for number in range(3):
        t, I, V = rows[:, number * third : (number + 1) * third]
        estimate, _ = analyse(t, I, V, middle_A=0.0)
        u, nu = estimate.standard_uncertainty_ohm, estimate.degrees_of_freedom
        turns.append(Turn(float(t.mean()), number != 1, estimate.resistance_ohm, u, nu))
    found = compare(turns, 1)
    return within, (abs(found.ratio - truth) <= found.half_width(), found.half_width())


def main(runs: int) -> None:
    """Print the table."""
    print(f"R_X / R_S, {runs} runs a line, {_ROUNDS} rounds of {_READINGS} readings: truth inside, mean U in ppm")
    print(f"{'drift':<10}{'one run by scanner':>24}{'S, X, S as three runs':>26}")
    with ProcessPoolExecutor() as pool:
        for drift in DRIFTS:
            found = np.array(list(pool.map(one, [drift] * runs, range(1, runs + 1), chunksize=4)), dtype=float)
            inside, half = found[:, :, 0].mean(axis=0), found[:, :, 1].mean(axis=0) * 1e6
            print(
                f"{drift:<10}{inside[0]:>14.1%}{half[0]:>10.2f}{inside[1]:>16.1%}{half[1]:>10.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
