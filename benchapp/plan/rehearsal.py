"""A simulated bench with a real bench's noise, EMF, settling and pace, as the text of a bench file."""

from __future__ import annotations

import math

from benchapp.plan.learnt import Learnt
from benchapp.recipe import Recipe, recipe_to_toml
from benchapp.tables import quoted


def bench_text(learnt: Learnt, recipe: Recipe, title: str) -> str:
    """In SI units; with the run's own recipe."""
    noise = learnt.noise
    white = math.sqrt(max(0.0, noise.white_V2_per_Hz))
    corner = noise.flicker_V2 / noise.white_V2_per_Hz if noise.white_V2_per_Hz > 0 else 0.0
    tables: dict[str, dict[str, float]] = {
        "specimen": {"resistance_ohm": learnt.resistance_ohm},
        "wiring": {} if learnt.settling is None else {
            "absorption": learnt.settling.missing,
            "absorption_time_constant_s": learnt.settling.tau_s,
        },
        "thermal_emf": {
            "offset_V": learnt.emf_V,
            "drift_V_per_s": learnt.emf_slope_V_per_s,
            "random_walk_V_per_rt_s": noise.walk_V_per_rt_s,
        },
        "source": {"latency_s": learnt.pace.change_s},
        "voltmeter": {"noise_V_per_rt_Hz": white, "flicker_corner_Hz": corner},
    }  # fmt: skip
    lines = [f"title = {quoted(title)}", "seed = 1"]
    for name, values in tables.items():
        if values:
            lines += ["", f"[{name}]", *(f"{key} = {float(value)!r}" for key, value in values.items())]
    return "\n".join([*lines, "", "[recipe]", recipe_to_toml(recipe)])
