"""What to expect of a recipe: voltage, power, the course of one block, and how long the run takes."""

from __future__ import annotations

from dataclasses import dataclass

from benchapp.analysis.blocks import BlockFormer
from benchapp.recipe import Recipe

_LONGEST_BLOCK = 4000  # readings; a sequence that needs more is not drawn


@dataclass(frozen=True, slots=True)
class Stretch:
    """One reading in a block: the current's level, when it has settled, and the reading's end; seconds from the start.

    `settled_s` equals `start_s` where the current was not changed.
    """

    level_A: float
    start_s: float
    settled_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """None where the nominal resistance, or the end of the run, is not known."""

    voltage_V: float | None
    power_W: float | None
    temperature_rise_K: float | None
    block: tuple[Stretch, ...]
    block_s: float
    run_s: float | None


def predict(recipe: Recipe, thermal_resistance_K_per_W: float | None = None) -> Prediction:
    """Without the latencies of instruments, which nobody knows beforehand."""
    block = _first_block(recipe)
    block_s = block[-1].end_s if block else 0.0
    nominal = recipe.nominal_ohm
    power = None if nominal is None else nominal * recipe.current_A**2
    run_s = recipe.stop.duration_s
    if recipe.stop.blocks is not None and block:
        run_s = recipe.stop.blocks * block_s
    if recipe.stop.cycles is not None:
        cycle = recipe.cycle
        changes = int((cycle.positions == 0).sum())
        run_s = recipe.stop.cycles * (cycle.readings * recipe.aperture_s + changes * recipe.settle_s)
    rise = None if power is None or thermal_resistance_K_per_W is None else power * thermal_resistance_K_per_W
    return Prediction(None if nominal is None else nominal * recipe.current_A, power, rise, block, block_s, run_s)


def _first_block(recipe: Recipe) -> tuple[Stretch, ...]:
    former = BlockFormer(recipe.emf_order, recipe.middle_A)
    stretches: list[Stretch] = []
    time_s, before = 0.0, 0.0
    for index in range(_LONGEST_BLOCK):
        level = recipe.level_A(index)
        settled_s = time_s + (recipe.settle_s if level != before or index == 0 else 0.0)
        end_s = settled_s + recipe.aperture_s
        stretches.append(Stretch(level, time_s, settled_s, end_s))
        if former.push((settled_s + end_s) / 2, level, 0.0) is not None:
            return tuple(stretches)
        time_s, before = end_s, level
    return ()
