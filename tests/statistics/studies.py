"""Do the studies recover the truth? Each on simulated benches, with their instruments, and what there is to find.

python -m tests.statistics.studies [SEEDS]
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchapp.analysis.temperature import alpha_at
from benchapp.recipe import Recipe, StopRule
from benchapp.study.comparison import comparison
from benchapp.study.conclusion import Conclusion, Figure, StudyRun
from benchapp.study.levels import LINEARITY_LEVELS, POWER_LEVELS, linearity, power
from benchapp.study.noise_floor import noise_floor
from benchapp.study.reconnection import reconnection
from benchapp.study.settling import DWELL, settling
from benchapp.study.stability import stability
from benchapp.study.temperature import temperature
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of


def studied(scenario: Scenario, recipe: Recipe, seed: int, started_s: float = 0.0) -> tuple[StudyRun, np.ndarray]:
    """One run of a study, and its blocks."""
    run = Rehearsal(scenario, seed)
    run.run(recipe)
    rows = np.array([reading[1:] for reading in run.readings]).T
    return StudyRun(recipe, rows, run.estimate, run.temperatures, started_s), run.blocks


def holds(figure: Figure, truth: float) -> bool:
    """Whether the interval holds the truth."""
    return figure.low <= truth <= figure.high


def of_settling(seed: int) -> dict[str, bool | None]:
    """Dielectric absorption of several time constants."""
    rng = np.random.default_rng(seed)
    tau_s = float(rng.choice([0.012, 0.05, 0.1, 0.2]))
    shunt = load_scenario("shunt")
    slow = replace(
        shunt,
        wiring=replace(shunt.wiring, absorption=0.005, absorption_time_constant_s=tau_s, settling_time_constant_s=0.0),
    )
    recipe = recipe_of(slow, signs="+" * DWELL + "-" * DWELL, settle_s=0.0, stop=StopRule(None, duration_s=30.0))
    found = settling([studied(slow, recipe, seed)[0]])
    R = slow.specimen.resistance_ohm
    return _told(found, {"time constant": tau_s, "R settled": R})


def of_power(seed: int) -> dict[str, bool | None]:
    """A film whose R rises at once, and a shunt that does not warm."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario(["shunt", "filmed_contact"][seed % 2])
    scenario = replace(scenario, specimen=replace(scenario.specimen, thermal_resistance_K_per_W=0.0))
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=6.0))
    levels = POWER_LEVELS * 2
    runs = [
        studied(scenario, replace(recipe, current_A=recipe.current_A * level), int(rng.integers(1 << 30)))[0]
        for level in levels
    ]
    rise = scenario.specimen.cubic_ohm_per_A2 * recipe.current_A**2
    R = scenario.specimen.resistance_ohm
    return _told(power(runs), {"R at zero power": R, "rise to the largest current": rise})


def of_linearity(seed: int) -> dict[str, bool | None]:
    """The same with an EMF that follows the sign."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario(["shunt", "filmed_contact"][seed % 2])
    emf_V = float(rng.choice([0.0, 2e-8, 2e-7]))
    specimen = replace(scenario.specimen, thermal_resistance_K_per_W=0.0, following_V=emf_V, following_above_A=1e-6)
    scenario = replace(scenario, specimen=specimen, wiring=replace(scenario.wiring, settling_time_constant_s=0.0))
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=6.0))
    runs = [
        studied(scenario, replace(recipe, current_A=recipe.current_A * level), int(rng.integers(1 << 30)))[0]
        for level in LINEARITY_LEVELS * 2
    ]
    rise = scenario.specimen.cubic_ohm_per_A2 * recipe.current_A**2
    truth = {
        "R at zero power": scenario.specimen.resistance_ohm,
        "voltage that follows the sign": emf_V,
        "rise to the largest current": rise,
    }
    return _told(linearity(runs), truth)


def of_temperature(seed: int) -> dict[str, bool | None]:
    """A cable in air that goes up and down, its lag, and a thermometer that is quiet or not."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario("warming_cable")
    alpha = float(rng.uniform(0.002, 0.005))
    lag_s = float(rng.uniform(5.0, 20.0))
    noise_K = float(rng.choice([0.0, 0.01, 0.05]))
    scenario = replace(
        scenario,
        specimen=replace(scenario.specimen, temperature_coefficient_per_K=alpha, air_lag_s=lag_s),
        ambient=replace(scenario.ambient, amplitude_K=1.0, period_s=150.0, drift_K_per_s=0.0),
    )
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=400.0))
    run = Rehearsal(scenario, seed)
    run.run(recipe)
    raw = replace(recipe, temperature_lag_s=None, reference_C=None, alpha_per_K=None)
    rows = np.array([reading[1:] for reading in run.readings]).T
    from benchapp.logbook.replay import analyse_by

    t, I, V = rows
    _, blocks = analyse_by(raw, t, I, V, [])
    told = run.temperatures.copy()
    told[1] += noise_K * rng.standard_normal(told.shape[1])
    found = temperature([StudyRun(recipe, rows, run.estimate, told)], [blocks], 20.0)
    # alpha of the bench holds at the air's temperature at the start.
    return _told(found, {"coefficient at 20 degC": alpha_at(alpha, scenario.thermometer.air_C, 20.0), "lag": lag_s})


def of_stability(seed: int) -> dict[str, bool | None]:
    """White noise, and R that walks."""
    rng = np.random.default_rng(seed)
    n = 400
    t = np.arange(n) * 2.0
    walk = float(rng.choice([0.0, 0.3, 1.0, 3.0]))
    slope = float(rng.choice([0.0, 1e-12, 1e-11]))
    noise = 1e-10 * (rng.standard_normal(n) + walk * np.cumsum(rng.standard_normal(n)) / 10)
    R = 1e-3 + slope * t + noise
    shunt = load_scenario("shunt")
    one, _ = _QUIET.get(0) or _QUIET.setdefault(0, studied(shunt, recipe_of(shunt, stop=StopRule(8)), 1))
    found = stability([one], [np.array([t, R, R, R])])
    return _told(found, {"drift": slope * 3600})


_QUIET: dict[int, tuple[StudyRun, np.ndarray]] = {}


def of_noise(seed: int) -> dict[str, bool | None]:
    """A voltmeter with and without a 1/f part."""
    rng = np.random.default_rng(seed)
    scenario = load_scenario("shunt")
    e, corner = 2e-8, float(rng.choice([0.0, 0.5, 2.0]))
    scenario = replace(
        scenario,
        voltmeter=replace(scenario.voltmeter, noise_V_per_rt_Hz=e, flicker_corner_Hz=corner),
        thermal_emf=replace(scenario.thermal_emf, drift_V_per_s=0.0, decay_V=0.0, random_walk_V_per_rt_s=0.0),
    )
    recipe = recipe_of(scenario, signs="++--", stop=StopRule(None, duration_s=40.0))
    found = noise_floor([studied(scenario, recipe, seed)[0]])
    return _told(found, {"white noise": e, **({"1/f corner": corner} if corner else {})})


def of_comparison(seed: int) -> dict[str, bool | None]:
    """A standard and a part on a source that drifts, by hand, nine runs."""
    rng = np.random.default_rng(seed)
    shunt = load_scenario("shunt")
    truth = float(rng.uniform(0.5, 2.0))
    curve = float(rng.choice([0.0, 1e-5]))
    runs = []
    for index in range(9):
        R = shunt.specimen.resistance_ohm * (1.0 if index % 2 == 0 else truth)
        gain = curve * ((index - 4) / 4) ** 2
        scenario = replace(
            shunt,
            specimen=replace(shunt.specimen, resistance_ohm=R, thermal_resistance_K_per_W=0.0),
            source=replace(shunt.source, gain_error=gain),
        )
        recipe = recipe_of(scenario, stop=StopRule(None, duration_s=4.0))
        runs.append(studied(scenario, recipe, int(rng.integers(1 << 30)), 20.0 * index)[0])
    return _told(comparison(runs), {"ratio to the standard": truth})


def of_reconnection(seed: int) -> dict[str, bool | None]:
    """Contacts that scatter, by nothing, a little, or more than the readings."""
    rng = np.random.default_rng(seed)
    shunt = load_scenario("shunt")
    deviation = float(rng.choice([0.0, 1e-9, 5e-9]))
    runs = []
    for _ in range(8):
        R = shunt.specimen.resistance_ohm + deviation * float(rng.standard_normal())
        scenario = replace(shunt, specimen=replace(shunt.specimen, resistance_ohm=R, thermal_resistance_K_per_W=0.0))
        recipe = recipe_of(scenario, stop=StopRule(None, duration_s=4.0))
        runs.append(studied(scenario, recipe, int(rng.integers(1 << 30)))[0])
    truth = {"R over connections": shunt.specimen.resistance_ohm, "deviation of connecting": deviation}
    return _told(reconnection(runs), truth)


def _told(found: Conclusion, truths: dict[str, float]) -> dict[str, bool | None]:
    """Whether each figure holds its truth; None where the study said that it cannot tell."""
    if not found.tells:
        return dict.fromkeys(truths)
    known = {one.name: one for one in found.figures}
    return {name: holds(known[name], truth) for name, truth in truths.items() if name in known}


STUDIES = {
    "settling": of_settling,
    "power": of_power,
    "linearity": of_linearity,
    "temperature": of_temperature,
    "stability": of_stability,
    "noise-floor": of_noise,
    "comparison": of_comparison,
    "reconnection": of_reconnection,
}


def main(seeds: int, *kinds: str) -> None:
    """Print the table."""
    with ProcessPoolExecutor() as pool:
        for kind in kinds or STUDIES:
            found = list(pool.map(STUDIES[kind], range(seeds), chunksize=4))
            names = dict.fromkeys(name for one in found for name in one)
            for name in names:
                values = [one[name] for one in found if name in one]
                sure = [value for value in values if value is not None]
                share = np.mean(sure) if sure else math.nan
                print(
                    f"{kind:<14}{name:<32}{share:>7.1%} of {len(sure):<5} cannot tell {len(values) - len(sure)}",
                    flush=True,
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400, *sys.argv[2:])
