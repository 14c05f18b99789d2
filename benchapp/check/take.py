"""A check on a bench: set up at a small part of the current with the least compliance, read, and switch off."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace

from benchapp.analysis.running_blocks import OVERLOAD_V
from benchapp.bench.bench import RANGE_HEADROOM, Bench
from benchapp.bench.limits import HouseLimits
from benchapp.bench.output import OutputState
from benchapp.check.at_current import first_is_too_large
from benchapp.check.finding import Finding
from benchapp.check.judge import findings
from benchapp.check.trace import Series, Trace, empty_trace
from benchapp.clock import Clock
from benchapp.errors import Fault, InputError
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from drivers.errors import InstrumentError, SettingError
from drivers.guardian import Guard
from drivers.roles import CurrentSource, Voltmeter

DEFAULT_PART = 0.01
_MOST_A = 0.1  # whatever one part in a hundred would be
# Of the whole current: in units a thousand times larger it is still the trial current. The next ones are for sources
# that know no level so small.
_FIRST_PARTS = (1e-5, 1e-4, 1e-3)
_LEADS_OHM = 0.5
_SLICE_S = 0.05
_ROOM = 4.0
_LEAST_COMPLIANCE_V = 0.02
_ZERO, _FAST, _SLOW, _DWELL, _DWELLS, _ZERO_AGAIN, _FIRST = 26, 40, 8, 8, 6, 4, 8


class NotProvedOff(InstrumentError):
    """The output could not be proved off after a check."""


def trial_recipe(recipe: Recipe, part: float) -> Recipe:
    """At a part of the current, with the least compliance that lets it flow. Raises InputError."""
    if recipe.channels:
        remedy = "Leave channels out, and connect one part to check its leads"
        raise InputError(Fault("parts on a scanner are not checked", "", remedy, field="channels"))
    if not 0 < part <= 1:
        remedy = 'Write a part of the current, as in "1 %" or "10 %"'
        raise InputError(Fault("no part of the current", f"{part * 100:g} %", remedy, field="--at"))
    trial_A = recipe.current_A * part
    if part <= DEFAULT_PART:  # more is asked for by name
        trial_A = min(trial_A, _MOST_A)
    needed_V = _ROOM * trial_A * ((recipe.nominal_ohm or 1.0) + _LEADS_OHM)
    compliance_V = min(recipe.compliance_V, max(_LEAST_COMPLIANCE_V, needed_V))
    return replace(recipe, current_A=trial_A, compliance_V=compliance_V, channels=(), examine=False, stepping="host")


def check_bench(
    bench: Bench,
    recipe: Recipe,
    limits: HouseLimits,
    known: BudgetPlan,
    *,
    clock: Clock,
    guard: Guard,
    part: float = DEFAULT_PART,
    seen: Callable[[OutputState], None] = lambda state: None,
    trace: Trace | None = None,
) -> list[Finding]:
    """Connect, look, switch on, read for seconds, switch off; the output is off again on every way out.

    `trace` is filled with what was read. Raises InstrumentError, LimitExceeded, InputError; NotProvedOff.
    """
    limits.check(recipe)
    trial = trial_recipe(recipe, part)
    got = empty_trace(recipe.line_frequency_Hz, trial.current_A) if trace is None else trace
    states: list[OutputState] = []

    def told(state: OutputState) -> None:
        states.append(state)
        seen(state)

    energised = None
    try:
        source, voltmeter = bench.open(guard.beat)
        energised = bench.energised(guard, told)
        assert energised is not None
        energised.look()
        got.output_before = str(states[-1]) if states else ""
        _configure(bench, trial, recipe, guard)
        got.identities = bench.identities()
        guard.beat()  # the last look before the output goes on: what was ordered during the set-up holds
        energised.switch_on()
        _Taking(source, voltmeter, recipe, trial, clock, guard, got, limits).all()
        source.step(0.0)
        got.complaints = [*source.look_after(), *voltmeter.reported()]
        tells = source.tells_compliance
    finally:
        off = energised is None or energised.switch_off(lambda: _show_life(guard))
        with contextlib.suppress(InstrumentError, OSError):
            bench.close(contacts=off)
    if not off:
        raise NotProvedOff("the output could not be proved off after the check", resource="source",
                           remedy="Switch the source off by hand.")  # fmt: skip
    return findings(got, recipe, limits, known, tells)


def _show_life(guard: Guard) -> None:
    """While the output is switched off nothing may break in."""
    with contextlib.suppress(InstrumentError):
        guard.beat()


def _configure(bench: Bench, trial: Recipe, recipe: Recipe, guard: Guard) -> None:
    """On the range of the trial current and with the least compliance; where the source has no such range, or takes no
    such compliance, with the recipe's own.
    """
    at_trial = replace(trial, nplc=1.0, range_V=_range_V(recipe))
    on_its_range = replace(at_trial, current_A=recipe.current_A)
    attempts = [
        replace(attempt, compliance_V=compliance_V)
        for attempt in (at_trial, on_its_range)
        for compliance_V in dict.fromkeys((trial.compliance_V, recipe.compliance_V))
    ]
    for attempt in attempts[:-1]:
        with contextlib.suppress(SettingError):
            bench.configure(attempt, guard.beat)
            return
    bench.configure(attempts[-1], guard.beat)


def _range_V(recipe: Recipe) -> float | None:
    """The run's own range: what is seen on it is what the run will see."""
    if recipe.range_V is not None or recipe.nominal_ohm is None:
        return recipe.range_V
    return recipe.nominal_ohm * recipe.current_A * RANGE_HEADROOM


class _Taking:
    """The readings, one part after the other."""

    def __init__(
        self,
        source: CurrentSource,
        voltmeter: Voltmeter,
        recipe: Recipe,
        trial: Recipe,
        clock: Clock,
        guard: Guard,
        trace: Trace,
        limits: HouseLimits,
    ) -> None:
        self._source, self._voltmeter, self._recipe, self._trial = source, voltmeter, recipe, trial
        self._clock, self._guard, self._trace, self._limits = clock, guard, trace, limits
        self._start_s = clock.now()

    def all(self) -> None:
        """In an order in which nothing flows before what is less has been seen."""
        trace = self._trace
        self._step(0.0)
        self._read(trace.zero, 0.0, _ZERO)
        if not self._first_step():
            return
        if trace.overload or (trace.first.time_s and first_is_too_large(trace.first, self._recipe.nominal_ohm)):
            trace.stopped = "the first step, far below the trial current, shows many times what it should"
            self._step(0.0)
            return
        self._step(0.0)
        self._aperture(trace.fast, 0.1, _FAST)
        self._aperture(trace.slow, 5.0, _SLOW)
        self._configure(1.0)
        trial_A = self._trial.current_A
        for level_A in (trial_A, -trial_A) * (_DWELLS // 2):
            if not self._step(level_A):
                return
            if not self._read(trace.dwells, level_A, _DWELL):
                break
        self._step(0.0)
        self._read(trace.zero_again, 0.0, _ZERO_AGAIN)

    def _first_step(self) -> bool:
        """Far below the trial current; False where the compliance limits even that."""
        for part in _FIRST_PARTS:
            first_A = self._recipe.current_A * part
            if first_A >= self._trial.current_A:
                break
            try:
                for level_A in (first_A, -first_A):
                    if not self._step(level_A):
                        return False
                    self._read(self._trace.first, level_A, _FIRST)
            except SettingError:
                continue
            break
        return True

    def _aperture(self, series: Series, nplc: float, count: int) -> None:
        # A voltmeter that has no such aperture says so; the tests that need it wait.
        with contextlib.suppress(SettingError):
            self._configure(nplc)
            self._read(series, 0.0, count)

    def _configure(self, nplc: float) -> None:
        recipe = self._recipe
        self._voltmeter.configure(nplc=nplc, line_frequency_Hz=recipe.line_frequency_Hz, range_V=_range_V(recipe))

    def _step(self, level_A: float) -> bool:
        """Change the current and wait; False where the compliance limits it."""
        self._guard.beat()
        if self._source.step(level_A):
            self._trace.limited = True
            self._source.step(0.0)
            return False
        left_s = self._recipe.settle_s
        while left_s > 0:
            self._clock.sleep(min(_SLICE_S, left_s))
            self._guard.beat()
            left_s -= _SLICE_S
        return True

    def _read(self, series: Series, level_A: float, count: int) -> bool:
        """False where the voltmeter is outside its range."""
        for _ in range(count):
            before = self._clock.now()
            voltage_V = self._voltmeter.read()
            self._guard.beat()
            if not abs(voltage_V) < OVERLOAD_V:
                self._trace.overload = True
                return False
            self._limits.check_power(abs(voltage_V * level_A))
            series.add((before + self._clock.now()) / 2 - self._start_s, level_A, voltage_V)
        return True
