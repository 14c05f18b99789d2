"""Is a bench that was made from a run like the bench of the run? U of the next run, on the real one over the rehearsed;
what settles, found again.

Nine benches, learnt from a run of 30 s, each measured at three settings.

    python -m tests.statistics.rehearsals [SEEDS]
"""

from __future__ import annotations

import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchapp.plan.learnt import learn
from benchapp.plan.rehearsal import bench_text
from benchapp.recipe import Recipe, StopRule
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of
from tests.statistics.plans import BENCHES

NINE = BENCHES[:8] + BENCHES[9:10]  # what differs by the source's signs or by a bad day is left out
_LEARNT_FROM_S = 30.0
_SETTINGS = ((1.0, "+-", 15.0), (1.0, "++--", 15.0), (5.0, "+--+", 30.0))
_SETTLING_S = (0.012, 0.05, 0.2)


def rehearsed(scenario: Scenario, recipe: Recipe, seed: int) -> Scenario:
    """The bench that is made from one run of that recipe."""
    run = Rehearsal(scenario, seed)
    run.run(recipe)
    t, I, V = np.array([reading[1:] for reading in run.readings]).T
    text = bench_text(learn(recipe, t, I, V, "run"), recipe, "rehearsed")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.toml"
        path.write_text(text, "utf-8")
        return load_scenario(str(path))


def ratios(bench: str, seed: int) -> list[float]:
    """Median U of twelve runs on the real bench over that on the rehearsed one, at each setting."""
    real = load_scenario(bench)
    signs = "+-" if seed % 2 else "++--"
    learning = recipe_of(real, signs=signs, nplc=1.0, stop=StopRule(None, duration_s=_LEARNT_FROM_S))
    made = rehearsed(real, learning, 80_000 + seed)
    found = []
    for nplc, order, duration_s in _SETTINGS:
        recipe = recipe_of(real, nplc=nplc, signs=order, stop=StopRule(None, duration_s=duration_s))
        medians = []
        for scenario in (real, made):
            U = []
            for other in range(12):
                run = Rehearsal(scenario, 90_000 + 100 * seed + other)
                run.run(recipe)
                U.append(run.estimate.repeatability_95_ohm)
            medians.append(float(np.median(U)))
        found.append(medians[0] / medians[1])
    return found


def settling(tau_s: float, seed: int) -> float:
    """The time constant that is learnt from dwells of 16, over the true one."""
    shunt = load_scenario("shunt")
    slow = replace(shunt, wiring=replace(shunt.wiring, absorption=0.01, absorption_time_constant_s=tau_s))
    recipe = recipe_of(slow, signs="+" * 16 + "-" * 16, nplc=1.0, stop=StopRule(None, duration_s=_LEARNT_FROM_S))
    return rehearsed(slow, recipe, seed).wiring.absorption_time_constant_s / tau_s


def main(seeds: int) -> None:
    """Print the figures."""
    with ProcessPoolExecutor() as pool:
        every = []
        for bench in NINE:
            found = np.array(list(pool.map(ratios, [bench] * seeds, range(seeds))))
            every.append(found.reshape(-1))
            print(f"{bench:<16} U real over rehearsed: {np.round(np.median(found, axis=0), 2)}", flush=True)
        pooled = np.concatenate(every)
        within = np.mean(np.abs(pooled - 1) <= 0.2)
        print(f"within 20 % in {within:.1%} of {len(pooled)}; median {np.median(pooled):.2f}")
        for tau_s in _SETTLING_S:
            taus = np.array(list(pool.map(settling, [tau_s] * seeds, range(seeds))))
            told = f"{np.median(taus) * tau_s * 1e3:.3g} ms, {taus.min():.2f} to {taus.max():.2f} of it"
            print(f"settling {tau_s * 1e3:g} ms learnt as {told}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
