"""`benchapp plan`: from a target uncertainty to a recipe, or what stands in its way."""

from __future__ import annotations

import argparse
import math
import re
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.analysis.noise import Noise
from benchapp.bench.limits import load_limits
from benchapp.cli.budget_options import add_budget_options, budget_plan, read_option
from benchapp.cli.output import opened
from benchapp.errors import Fault, InputError
from benchapp.logbook.database import default_path
from benchapp.plan.cautions import cautions
from benchapp.plan.learnt import Learnt, learn
from benchapp.plan.optimum import Floor, Plan, Proposal, Wish, plan
from benchapp.plan.prediction import predict
from benchapp.plan.weights import Pace
from benchapp.quantity import engineering, parse_positive
from benchapp.recipe import recipe_to_toml
from benchapp.result.budget import BudgetPlan, Scope
from benchapp.result.json_object import to_line
from benchapp.run.recorded import open_run

_BOLTZMANN_J_PER_K = 1.380649e-23  # exact, SI 2019
_ROOM_K = 296.0
_LEAST_CORNER_HZ = 1e-3
_LEAST_WALK_V = 1e-12


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Describe the command."""
    parser = commands.add_parser(
        "plan",
        help="from a target uncertainty to a recipe",
        description="Find current, range, aperture, dwell and time with which nine of ten runs reach a target"
        " uncertainty, accuracy data included; else say what stands in the way. The noise comes from the accuracy data"
        " (noise_nV_per_rt_Hz) or from a recorded run of the same bench.",
    )
    parser.add_argument("--nominal", metavar='"250 uohm"', required=True, help="of the specimen")
    parser.add_argument("--target", metavar='"0.02 %%"', required=True, help="expanded uncertainty: %%, ppm or ohm")
    parser.add_argument("--max-current", metavar='"5 A"', help="permitted (the house limit)")
    parser.add_argument("--max-power", metavar='"0.1 W"', help="permitted in the specimen (the house limit)")
    parser.add_argument("--max-voltage", metavar='"20 mV"', help="permitted over the specimen, as for a dry circuit")
    parser.add_argument("--max-time", metavar='"2 min"', help="that a run may take")
    parser.add_argument(
        "--settle", metavar='"20 ms"', help="delay after each change (from the accuracy data, or 20 ms)"
    )
    parser.add_argument("--line-frequency", metavar='"50 Hz"', default="50 Hz")
    parser.add_argument("--examine", action="store_true", help="plan a run that examines itself")
    parser.add_argument("--from-run", metavar="RUN", type=int, help="learn noise and pace from this run in the logbook")
    parser.add_argument("--logbook", metavar="FILE", type=Path, help="the record (the user's own logbook)")
    parser.add_argument("--out", metavar="FILE", help="write the recipe there")
    parser.add_argument("--json", metavar="FILE", help="write the plan as JSON, - for standard output")
    add_budget_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Plan; 4 where the target is not reached."""
    wish, learnt = _wish(arguments)
    found = plan(wish)
    if arguments.json is not None:
        with opened(arguments.json, "--json", [arguments.instrument_card]) as stream:
            stream.write(to_line(_object(wish, found, learnt)) + "\n")
    else:
        print("\n".join(_in_words(wish, found, learnt)))
    if found.proposals and arguments.out is not None:
        with opened(arguments.out, "--out", [arguments.instrument_card]) as stream:
            stream.write(recipe_to_toml(found.proposals[0].recipe))
        if arguments.json is None:
            print(f"The recipe is in {arguments.out}")
    return 0 if found.proposals else 4


def _wish(arguments: argparse.Namespace) -> tuple[Wish, Learnt | None]:
    nominal = _quantity(arguments.nominal, "ohm", "--nominal")
    assert nominal is not None
    limits = load_limits()
    known = budget_plan(arguments, 0.95)
    learnt = None
    if arguments.from_run is not None:
        recorded = open_run(arguments.logbook or default_path(), arguments.from_run)
        columns = recorded.record.readings
        t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
        learnt = learn(recorded.recipe, t, I, V, f"run {arguments.from_run}")
    most_current = _quantity(arguments.max_current, "A", "--max-current")
    most_power = _quantity(arguments.max_power, "W", "--max-power")
    wish = Wish(
        nominal,
        _target(arguments.target, nominal),
        _noise(known, learnt),
        known,
        min(limits.current_A, most_current or math.inf),
        min(limits.power_W, most_power or math.inf),
        _quantity(arguments.max_voltage, "V", "--max-voltage"),
        _quantity(arguments.max_time, "s", "--max-time"),
        pace=Pace() if learnt is None else learnt.pace,
        settle_s=_quantity(arguments.settle, "s", "--settle"),
        line_frequency_Hz=_quantity(arguments.line_frequency, "Hz", "--line-frequency") or 50.0,
        examine=arguments.examine,
    )
    return wish, learnt


def _quantity(text: str | None, unit: str, option: str) -> float | None:
    return read_option(text, lambda given: parse_positive(given, unit), option)


def _target(text: str, nominal_ohm: float) -> float:
    match = re.fullmatch(r"\s*([0-9.eE+-]+)\s*(%|ppm)\s*", text)
    if match is None:
        found = _quantity(text, "ohm", "--target")
        assert found is not None
        return found
    try:
        part = float(match[1]) * (1e-2 if match[2] == "%" else 1e-6)
    except ValueError:
        part = math.nan
    if not 0 < part < 1:
        remedy = 'Write for example "0.02 %", "200 ppm" or "50 nohm"'
        raise InputError(Fault("no target uncertainty", text, remedy, field="--target"))
    return part * nominal_ohm


def _noise(known: BudgetPlan, learnt: Learnt | None) -> Noise:
    if learnt is not None:
        return learnt.noise
    card = known.card
    voltmeter = None if card is None else card.voltmeter
    if card is None or voltmeter is None or voltmeter.noise_per_rt_Hz is None:
        remedy = "Write noise_nV_per_rt_Hz under [voltmeter] of the accuracy data, or name a run by --from-run"
        raise InputError(Fault("the noise of the bench is not known", "", remedy, field="--accuracy"))
    e2 = voltmeter.noise_per_rt_Hz**2
    of_current = 0.0 if card.source is None else card.source.noise_per_rt_Hz or 0.0
    thermal = 4 * _BOLTZMANN_J_PER_K * _ROOM_K * card.circuit.sense_leads_ohm
    return Noise(e2 + thermal, e2 * voltmeter.flicker_corner_Hz, card.circuit.emf_walk_V_per_rt_s, of_current)


def _in_words(wish: Wish, found: Plan, learnt: Learnt | None) -> list[str]:
    R = wish.nominal_ohm
    lines = [f"target: U = {engineering(wish.target_ohm, 'ohm', 3)} ({_part(wish.target_ohm, R)}) at R = "
             f"{engineering(R, 'ohm', 4)}"]  # fmt: skip
    noise = wish.noise
    source = "the accuracy data" if learnt is None else f"a run of {learnt.readings} readings"
    corner = noise.flicker_V2 / noise.white_V2_per_Hz if noise.white_V2_per_Hz > 0 else math.inf
    flicker = f"1/f below {engineering(corner, 'Hz', 2)}" if corner > _LEAST_CORNER_HZ else "no 1/f seen"
    told = f"EMF walk {engineering(noise.walk_V_per_rt_s, 'V', 2)} per root second"
    lines.append(
        f"noise, from {source}: {engineering(math.sqrt(noise.white_V2_per_Hz), 'V', 3)} per root hertz, {flicker},"
        f" {told if noise.walk_V_per_rt_s > _LEAST_WALK_V else 'no walk of the EMF seen'}"
    )
    if found.proposals:
        best, *others = found.proposals
        lines += _proposed(wish, best)
        lines += [f"or {_short(other, R)}" for other in others]
        lines += [f"caution: {one.title}. {one.text}" for one in cautions(best.recipe, predict(best.recipe))]
    elif found.in_time is not None and (found.floor is None or found.floor.U_ohm < wish.target_ohm):
        best = found.in_time
        lines.append(
            f"not reached in {engineering(wish.most_time_s or 0.0, 's', 3)}: {_short(best, R)}; U there is mostly"
            f" scatter. Allow more time, more current or power, or a quieter voltmeter."
        )
    elif found.floor is None:
        lines.append("not reached: with what is permitted no run is long enough. Allow more current, power or time.")
    if found.floor is not None:
        lines += _floor(wish, found.floor, reached=bool(found.proposals))
    if not found.proposals and found.floor is not None and found.floor.U_ohm < wish.target_ohm and not found.in_time:
        lines.append("not reached: with what is permitted no run is long enough. Allow more current, power or time.")
    return lines


def _proposed(wish: Wish, best: Proposal) -> list[str]:
    recipe, R = best.recipe, wish.nominal_ohm
    range_ = "by the nominal value" if recipe.range_V is None else engineering(recipe.range_V, "V", 3)
    sequence = "examined" if recipe.examine else recipe.signs.replace("-", "\u2212")
    scope = "all contributions" if best.scope is Scope.ALL else "repeatability and what is known; accuracy data missing"
    return [
        f"current {engineering(recipe.current_A, 'A', 3)}, voltmeter range {range_}, {recipe.nplc:g} PLC, delay"
        f" {engineering(recipe.settle_s, 's', 3)}, {sequence}, linear EMF",
        f"{engineering(best.voltage_V, 'V', 3)} over the part, {engineering(best.power_W, 'W', 2)} in it;"
        f" {best.readings} readings, {_time(best.time_s)}",
        f"expected U = {engineering(best.median_U_ohm, 'ohm', 3)} ({_part(best.median_U_ohm, R)}; {scope}), in nine of"
        f" ten runs below {engineering(best.mostly_U_ohm, 'ohm', 3)}",
        f"what limits: {best.largest.name}, {best.largest.share:.0%} of the variance",
    ]


def _short(one: Proposal, R: float) -> str:
    return (
        f"{engineering(one.recipe.current_A, 'A', 3)}, {engineering(one.power_W, 'W', 2)}, {_time(one.time_s)}:"
        f" U = {engineering(one.median_U_ohm, 'ohm', 3)} ({_part(one.median_U_ohm, R)})"
    )


def _floor(wish: Wish, floor: Floor, *, reached: bool) -> list[str]:
    R = wish.nominal_ohm
    lines = [
        f"floor: no longer run goes below {engineering(floor.U_ohm, 'ohm', 3)} ({_part(floor.U_ohm, R)}); its largest"
        f" term is {floor.largest.name}, {floor.largest.note}"
    ]
    if reached or floor.U_ohm < wish.target_ohm:
        return lines
    told = f"not reached. {floor.largest.name} alone would have to be {floor.needed_factor:.2g} times smaller"
    if not math.isfinite(floor.needed_factor):
        told = f"not reached. Even without {floor.largest.name} the rest is too much"
    relative = floor.largest.name.startswith(("voltmeter gain", "source", "current"))
    remedy = "Compare with a standard (`channels` and `standard`): gain and current fall out" if relative else (
        "Lower that term, or choose a larger target"
    )  # fmt: skip
    return [*lines, f"{told}. {remedy}."]


def _part(U: float, R: float) -> str:
    part = U / R
    return f"{part * 1e6:.3g} ppm" if part < 1e-3 else f"{part * 100:.3g} %"


def _time(time_s: float) -> str:
    return (
        f"{time_s:.3g} s" if time_s < 120 else f"{time_s / 60:.3g} min" if time_s < 7200 else f"{time_s / 3600:.3g} h"
    )


def _object(wish: Wish, found: Plan, learnt: Learnt | None) -> dict[str, Any]:
    def proposal(one: Proposal) -> dict[str, Any]:
        return {
            "current_A": one.recipe.current_A,
            "range_V": one.recipe.range_V,
            "nplc": one.recipe.nplc,
            "signs": one.recipe.signs,
            "settle_s": one.recipe.settle_s,
            "examine": one.recipe.examine,
            "readings": one.readings,
            "time_s": one.time_s,
            "power_W": one.power_W,
            "voltage_V": one.voltage_V,
            "expanded_uncertainty_ohm": one.median_U_ohm,
            "nine_of_ten_below_ohm": one.mostly_U_ohm,
            "scope": str(one.scope),
            "limited_by": one.largest.name,
            "recipe": recipe_to_toml(one.recipe),
        }

    floor = found.floor
    return {
        "nominal_ohm": wish.nominal_ohm,
        "target_ohm": wish.target_ohm,
        "reached": bool(found.proposals),
        "noise": asdict(replace(wish.noise)),
        "pace": asdict(wish.pace),
        "learnt_from_readings": None if learnt is None else learnt.readings,
        "proposals": [proposal(one) for one in found.proposals],
        "in_time": None if found.in_time is None else proposal(found.in_time),
        "floor": None
        if floor is None
        else {
            "current_A": floor.current_A,
            "expanded_uncertainty_ohm": floor.U_ohm,
            "largest": floor.largest.name,
            "needed_factor": floor.needed_factor if math.isfinite(floor.needed_factor) else None,
        },
    }
