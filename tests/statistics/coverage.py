"""How often does the stated 95 % interval hold the truth? Many seeded runs of each bench in virtual time.

Beside it stands what a plain script gives on the same benches: current written, voltmeter read at once, no waiting for
the source, pairs of readings, s over root n; and the mean of overlapping blocks with s over root n.

    python -m tests.statistics.coverage [SEEDS]
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from benchapp.analysis.blocks import fit_block
from benchapp.events import Reading
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, benches_in_order, recipe_of

_FIRST_SEED = 50_000  # apart from the seeds of every test


@dataclass(frozen=True, slots=True)
class Trial:
    """Errors and half-widths of one seed, in ohm."""

    error: float
    half_width: float
    overlapping_error: float
    overlapping_half_width: float
    script_error: float
    script_half_width: float


def trial(name: str, seed: int) -> Trial:
    """One run of the program and one of the plain script on the same bench and seed."""
    rehearsal = Rehearsal(load_scenario(name), seed)
    recipe = recipe_of(rehearsal.scenario)
    rehearsal.run(recipe)
    estimate = rehearsal.estimate
    truth = rehearsal.truth
    size = round(estimate.readings / estimate.blocks)
    overlapping = _overlapping_blocks(rehearsal.readings, size, recipe.emf_order)
    pairs = _plain_script(name, seed, estimate.readings)
    return Trial(
        estimate.resistance_ohm - truth,
        estimate.repeatability_95_ohm,
        float(overlapping.mean()) - truth,
        1.96 * float(overlapping.std(ddof=1)) / math.sqrt(len(overlapping)),
        float(pairs.mean()) - truth,
        1.96 * float(pairs.std(ddof=1)) / math.sqrt(len(pairs)),
    )


def _overlapping_blocks(readings: list[Reading], size: int, emf_order: int) -> np.ndarray:
    """R of a block from every start reading."""
    _, t, I, V = (list(column) for column in zip(*readings, strict=True))
    ends = range(size, len(t) + 1)
    fits = (fit_block(t[e - size : e], I[e - size : e], V[e - size : e], emf_order) for e in ends)
    return np.array([block.resistance_ohm for block in fits if block is not None])


def _plain_script(name: str, seed: int, readings: int) -> np.ndarray:
    """R of pairs, as a loop without synchronisation reads them."""
    scenario = load_scenario(name)
    recipe = recipe_of(scenario)
    bench = SimulatedBench(scenario, VirtualClock(), seed)
    bench.source.process(f"VOLT:LIM {recipe.compliance_V};:OUTP ON")
    bench.voltmeter.process(f"VOLT:RANG {recipe.range_V};NPLC {recipe.nplc};:CAL:ZERO:AUTO OFF")
    voltages = []
    for index in range(readings // 2 * 2):
        bench.source.process(f"CURR {recipe.current_A * (-1) ** index}")
        voltages.append(float(bench.voltmeter.process("READ?") or "nan"))
    V = np.array(voltages)
    resistance: np.ndarray = (V[::2] - V[1::2]) / (2 * recipe.current_A)
    return resistance


def main(seeds: int) -> None:
    """Print the table."""
    print(
        f"95 % intervals that hold the truth, {seeds} seeds a bench, 30 blocks; s.e. {percent_error(seeds):.1f} points"
    )
    print(f"{'bench':<16}{'benchapp':>10}{'overlapping':>13}{'plain script':>14}{'its bias':>12}")
    everything: list[Trial] = []
    with ProcessPoolExecutor() as pool:
        # The plain script speaks SCPI only.
        names = [name for name in benches_in_order() if load_scenario(name).source_dialect == "scpi"]
        for bench, name in enumerate(names):
            first = _FIRST_SEED + bench * seeds  # the same seeds on two benches would be no independent evidence
            numbers = range(first, first + seeds)
            trials = list(pool.map(trial, [name] * seeds, numbers, chunksize=8))
            everything += trials
            _print_row(name, trials)
    _print_row("all", everything)
    print(f"standard error of the last line {percent_error(len(everything)):.2f} points")


def _print_row(name: str, trials: list[Trial]) -> None:
    covered = sum(abs(t.error) <= t.half_width for t in trials) / len(trials)
    overlapping = sum(abs(t.overlapping_error) <= t.overlapping_half_width for t in trials) / len(trials)
    script = sum(abs(t.script_error) <= t.script_half_width for t in trials) / len(trials)
    bias = np.median([abs(t.script_error) / max(t.half_width, 1e-30) for t in trials])
    print(f"{name:<16}{covered:>9.1%} {overlapping:>12.1%} {script:>13.1%} {bias:>9.1f} U")


def percent_error(runs: int) -> float:
    """Binomial standard error of a coverage of 95 %, in percentage points."""
    return 100 * math.sqrt(0.95 * 0.05 / runs)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
