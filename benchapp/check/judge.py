"""What the readings of a check say: each test with its figure, its limit, where it points, and what to do.

A test that hangs on a failed one waits: nobody asks an open lead whether it has settled. The thresholds are by
simulation: all together raise a false alarm on at most one bench in a hundred.
"""

from __future__ import annotations

import math

from benchapp.bench.limits import HouseLimits
from benchapp.check.at_current import settling, signal, slope
from benchapp.check.at_zero import drift, hum, line, noise, zero_emf
from benchapp.check.finding import Finding, State, outcome
from benchapp.check.trace import Trace
from benchapp.quantity import engineering
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan

_LEAST_USED = 0.01  # of a range
_DRY_V = 0.02


def findings(trace: Trace, recipe: Recipe, limits: HouseLimits, known: BudgetPlan, tells: bool) -> list[Finding]:
    """All tests in the order in which they hang on one another. `tells`: the source can say that it limits."""
    found = [*_instruments(trace, known), zero_emf(trace, recipe), drift(trace, known)]
    found += [noise(trace, known), hum(trace, recipe), line(trace, recipe)]
    R, u = slope(trace.dwells) if trace.dwells.time_s else (math.nan, math.nan)
    connected, right = signal(trace, recipe, R, u, tells)
    found.append(connected)
    seen = connected.state is State.OK
    found += right if seen else [Finding(one.name, State.WAITS) for one in right]
    good = seen and all(one.state is not State.FAILS for one in right)
    found.append(settling(trace) if good else Finding("settling", State.WAITS))
    found += _foreseen(recipe, R, limits) if good else [Finding(name, State.WAITS) for name in _FORESEEN]
    return found


def _instruments(trace: Trace, known: BudgetPlan) -> list[Finding]:
    told = "; ".join(trace.complaints)
    specs = [] if known.card is None else known.card.specs
    dated = [(role, spec.due) for role, spec in specs if spec.due is not None]
    overdue = ", ".join(f"{role} (due {due})" for role, due in dated if due < known.on)
    due = Finding("due dates", State.NOT_TESTED, "no accuracy data with a due date")
    if dated:
        figure, remedy = overdue or "in time", "Have it calibrated"
        due = outcome("due dates", fails=bool(overdue), figure=figure, remedy=remedy, code="calibration-overdue")
    return [
        Finding("instruments", State.OK, "; ".join(f"{role}: {who}" for role, who in trace.identities.items())),
        outcome(
            "output before",
            fails=trace.output_before == "ON",
            figure=trace.output_before,
            limit="off",
            where="source",
            remedy="Find out who had switched it on; it is off now",
        ),
        outcome(
            "error queues",
            fails=bool(told),
            figure=told or "empty",
            remedy="Read what the instrument says",
            code="voltmeter-complained",
        ),
        due,
    ]


_FORESEEN = ("voltage and range", "power", "compliance", "dry circuit")


def _foreseen(recipe: Recipe, R: float, limits: HouseLimits) -> list[Finding]:
    """What the full current will make of the R that was seen."""
    V, P, range_V = abs(R) * recipe.current_A, abs(R) * recipe.current_A**2, recipe.range_V
    used = Finding("voltage and range", State.OK, f"{engineering(V, 'V', 3)}, range automatic")
    if range_V is not None:
        over = range_V < V
        used = outcome(
            "voltage and range",
            fails=over or range_V * _LEAST_USED > V,
            figure=f"{engineering(V, 'V', 3)}, {V / range_V:.2g} of the range",
            limit=f"{_LEAST_USED:g} to 1",
            where="voltmeter",
            remedy="Choose a higher range" if over else "Choose a lower range, or more current",
            code="overload" if over else "",
        )
    power = outcome(
        "power",
        fails=limits.power_W < P,
        figure=engineering(P, "W", 3),
        limit=engineering(limits.power_W, "W", 3),
        where="the part",
        remedy="Lower the current, or raise the house limit if the part stands it",
        code="broken-off",
    )
    compliance = outcome(
        "compliance",
        fails=recipe.compliance_V < V,
        figure=f"{engineering(V, 'V', 3)} over the part alone",
        limit=engineering(recipe.compliance_V, "V", 3),
        where="source",
        remedy="Raise the compliance; the leads need more on top",
        code="compliance",
    )
    dry = Finding("dry circuit", State.NOT_TESTED, "no such limit in the recipe")
    if recipe.preset == "dry-circuit":
        dry = outcome(
            "dry circuit",
            fails=recipe.compliance_V > _DRY_V,
            figure=f"{engineering(recipe.compliance_V, 'V', 3)} with open contacts",
            limit=f"{engineering(_DRY_V, 'V', 3)} (ASTM B539)",
            where="source",
            remedy="Lower the compliance",
            code="broken-off",
        )
    return [used, power, compliance, dry]
