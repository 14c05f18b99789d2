"""What a check before a run finds at 1 % of the current, and how often it raises a false alarm.

A few benches and faults; the current that ever flowed is read from the simulated circuit.

    python -m tests.statistics.checks [SEEDS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import Circuit, InstrumentCard, InstrumentSpec, RangeAccuracy
from sim.scenario import Scenario, load_scenario
from tests.benchapp.checked import checked
from tests.benchapp.simulated import recipe_of
from tests.statistics.plans import BENCHES

FAULTS = {
    "open sense lead": "signal",
    "open source lead": "signal",
    "pair exchanged": "sense pair",
    "x3 (two-wire)": "nominal value",
    "unit x1000": "signal",
    "unit /1000": "signal",
    "sense contact 10 kohm": "noise",
    "sense contact 300 kohm": "noise",
    "decay 2 uV in 20 s": "drift of the EMF",
    "decay 20 uV in 20 s": "drift of the EMF",
    "hum 0.2 uV": "hum",
    "hum 2 uV": "hum",
    "hum 20 uV": "hum",
    "line frequency, hum 2 uV": "line frequency",
    "line frequency, hum 20 uV": "line frequency",
    "settling 6 ms of 20": "settling",
    "settling 12 ms of 20": "settling",
    "settling 40 ms of 20": "settling",
}


# What is there on the shipped benches: a warm joint, a heater, a source that is loud, mains.
THERE = {
    "busbar_joint": {"drift of the EMF"},
    "heated_room": {"drift of the EMF"},
    "noisy_source": {"noise"},
    "cable_sample": {"hum"},
    "bad_day": {"drift of the EMF", "hum"},
}


def with_fault(fault: str, s: Scenario) -> tuple[Scenario, Recipe]:
    """A bench with that fault, and the recipe by which it is checked."""
    recipe, words = recipe_of(s, settle_s=0.02), fault.split()
    if fault == "open sense lead":
        s = replace(s, wiring=replace(s.wiring, sense_gain=0.0))
    elif fault == "open source lead":
        s = replace(s, wiring=replace(s.wiring, source_leads_ohm=1e8))
    elif fault == "pair exchanged":
        s = replace(s, wiring=replace(s.wiring, sense_gain=-1.0))
    elif fault.startswith("x3"):
        recipe = replace(recipe, nominal_ohm=s.specimen.resistance_ohm / 3)
    elif words[0] == "unit":
        factor = 1000.0 if words[1] == "x1000" else 0.001
        s = replace(s, source=replace(s.source, gain_error=factor - 1))
    elif words[0] == "sense":
        ohm = float(words[2]) * 1e3
        s = replace(s, wiring=replace(s.wiring, sense_leads_ohm=ohm))
    elif words[0] == "decay":
        s = replace(s, thermal_emf=replace(s.thermal_emf, decay_V=float(words[1]) * 1e-6, decay_time_constant_s=20.0))
    elif "hum" in words:
        pickup = float(words[words.index("hum") + 1]) * 1e-6
        line_Hz = 60.0 if words[0] == "line" else recipe.line_frequency_Hz
        s = replace(s, voltmeter=replace(s.voltmeter, mains_pickup_V=pickup, line_frequency_Hz=line_Hz))
    elif words[0] == "settling":
        s = replace(s, wiring=replace(s.wiring, settling_time_constant_s=float(words[1]) * 1e-3))
    return s, recipe


def card(s: Scenario) -> BudgetPlan:
    """Accuracy data that knows the voltmeter's noise."""
    v, rows = s.voltmeter, (RangeAccuracy(1e-2, 50.0, 4.0),)
    spec = InstrumentSpec(rows, noise_per_rt_Hz=v.noise_V_per_rt_Hz, flicker_corner_Hz=v.flicker_corner_Hz)
    return BudgetPlan(InstrumentCard(spec, None, Circuit(sense_leads_ohm=s.wiring.sense_leads_ohm)))


def trial(bench: str, fault: str, seed: int) -> tuple[bool, bool, float]:
    """Whether the fault was found, whether anything that is not there was, and the largest current over 1 %."""
    clean = load_scenario(bench)
    scenario, recipe = with_fault(fault, clean) if fault else (clean, recipe_of(clean))
    found = checked(scenario, seed, recipe=recipe, known=card(clean))
    largest = found.bench.circuit.fixture.largest_A / (0.01 * recipe.current_A)
    return FAULTS.get(fault, "") in found.failed, bool(found.failed - THERE.get(bench, set())), largest


def main(seeds: int) -> None:
    """Print the table."""
    worst = 0.0
    with ProcessPoolExecutor() as pool:
        for fault in FAULTS:
            shares = []
            for bench in BENCHES:
                found = list(pool.map(trial, [bench] * seeds, [fault] * seeds, range(seeds), chunksize=4))
                shares.append(np.mean([one[0] for one in found]))
                worst = max(worst, *(one[2] for one in found))
            print(f"{fault:<28} found {np.mean(shares):>6.1%}  (least on a bench {min(shares):.0%})", flush=True)
        for bench in BENCHES:
            more = 5 * seeds
            found = list(pool.map(trial, [bench] * more, [""] * more, range(1000, 1000 + more), chunksize=4))
            print(f"{bench:<16} false alarms: {np.mean([one[1] for one in found]):.1%} of {more}", flush=True)
            worst = max(worst, *(one[2] for one in found))
    print(f"the largest current that flowed: {worst:.4f} of 1 %")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
