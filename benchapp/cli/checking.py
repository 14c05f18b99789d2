"""A check by command line: taken, ended by signals, and told; for `check` and for `measure --check`."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator

from benchapp.bench.bench import Bench
from benchapp.bench.limits import load_limits
from benchapp.bench.plan import BenchPlan
from benchapp.check.finding import Finding, State
from benchapp.check.take import DEFAULT_PART, check_bench
from benchapp.clock import Clock
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.validity import Effect
from drivers.guardian import NoGuard, ProcessGuard

_MARKS = {State.OK: "ok", State.FAILS: "FAILS", State.WAITS: "waits", State.NOT_TESTED: "-"}


def checked(
    plan: BenchPlan, recipe: Recipe, known: BudgetPlan, clock: Clock, part: float = DEFAULT_PART
) -> list[Finding]:
    """One check on these instruments, with a guardian where they are not simulated in here."""
    guard = NoGuard() if plan.in_process else ProcessGuard()
    with _ended_by_signals():
        return check_bench(Bench(plan), recipe, load_limits(), known, clock=clock, guard=guard, part=part)


def may_start(found: list[Finding]) -> bool:
    """By the gate's own table: nothing that would make a run not valid."""
    return all(one.effect is not Effect.NOT_VALID for one in found)


def in_words(found: list[Finding]) -> list[str]:
    """A line a test, and below it where and what to do where it fails."""
    lines = []
    for one in found:
        limit = f"  (limit {one.limit})" if one.limit else ""
        lines.append(f"{_MARKS[one.state]:<6}{one.name:<20}{one.figure}{limit}".rstrip())
        if one.state is State.FAILS:
            where = f"{one.where}: " if one.where else ""
            lines.append(f"{'':<6}{'':<20}{where}{one.remedy}")
    doubts = [one.name for one in found if one.effect is Effect.DOUBTFUL]
    shut = [one.name for one in found if one.effect is Effect.NOT_VALID]
    if shut:
        lines.append(f"A run would not be valid: {', '.join(shut)}")
    elif doubts:
        lines.append(f"A run may start, and may be doubtful: {', '.join(doubts)}")
    else:
        lines.append("A run may start")
    return lines


@contextlib.contextmanager
def _ended_by_signals() -> Iterator[None]:
    """SIGTERM and SIGHUP end a check as Ctrl-C does, once: the output goes off on the way out."""

    def end(number: int, _frame: object) -> None:
        for name in names:
            signal.signal(getattr(signal, name), signal.SIG_IGN)
        raise KeyboardInterrupt(signal.Signals(number).name)

    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), end) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
