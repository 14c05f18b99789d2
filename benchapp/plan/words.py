"""A plan in sentences."""

from __future__ import annotations

import math

from benchapp.plan.cautions import cautions
from benchapp.plan.learnt import Learnt
from benchapp.plan.optimum import Floor, Plan, Proposal, Wish
from benchapp.plan.prediction import predict
from benchapp.quantity import engineering, ppm
from benchapp.result.budget import Scope

_LEAST_CORNER_HZ = 1e-3
_LEAST_WALK_V = 1e-12


def plan_in_words(wish: Wish, found: Plan, learnt: Learnt | None) -> list[str]:
    """What was asked, what is proposed, what limits, what else would do, and the floor."""
    R = wish.nominal_ohm
    lines = [f"target: U = {engineering(wish.target_ohm, 'ohm', 3)} ({ppm(wish.target_ohm, R)}) at R = "
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
        f"expected U = {engineering(best.median_U_ohm, 'ohm', 3)} ({ppm(best.median_U_ohm, R)}; {scope}), in nine of"
        f" ten runs below {engineering(best.mostly_U_ohm, 'ohm', 3)}",
        f"what limits: {best.largest.name}, {best.largest.share:.0%} of the variance",
    ]


def _short(one: Proposal, R: float) -> str:
    return (
        f"{engineering(one.recipe.current_A, 'A', 3)}, {engineering(one.power_W, 'W', 2)}, {_time(one.time_s)}:"
        f" U = {engineering(one.median_U_ohm, 'ohm', 3)} ({ppm(one.median_U_ohm, R)})"
    )


def _floor(wish: Wish, floor: Floor, *, reached: bool) -> list[str]:
    R = wish.nominal_ohm
    lines = [
        f"floor: no longer run goes below {engineering(floor.U_ohm, 'ohm', 3)} ({ppm(floor.U_ohm, R)}); its largest"
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


def _time(time_s: float) -> str:
    return (
        f"{time_s:.3g} s" if time_s < 120 else f"{time_s / 60:.3g} min" if time_s < 7200 else f"{time_s / 3600:.3g} h"
    )
