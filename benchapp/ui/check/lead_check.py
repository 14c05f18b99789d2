"""A check of leads and contacts for the window: in a thread of its own, ended by OFF like a run."""

from __future__ import annotations

import contextlib
import threading
import traceback
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from benchapp.bench.bench import Bench
from benchapp.bench.limits import load_limits
from benchapp.bench.output import OutputState
from benchapp.bench.plan import BenchPlan
from benchapp.check.finding import Finding
from benchapp.check.take import DEFAULT_PART, check_bench, trial_recipe
from benchapp.check.trace import empty_trace
from benchapp.clock import Clock
from benchapp.errors import BenchError
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.ui.check.model import Checked
from drivers.errors import InstrumentError
from drivers.guardian import Guard, NoGuard, ProcessGuard, SafePlan


class LeadCheck(QObject):
    """One check.

    Signals:
        ended: a Checked; the output is off by then, or its fault says that this could not be proved.
    """

    ended = Signal(object)

    def __init__(
        self,
        plan: BenchPlan,
        recipe: Recipe,
        known: BudgetPlan,
        clock: Clock,
        tell: Callable[[OutputState], None],
        part: float = DEFAULT_PART,
    ) -> None:
        super().__init__()
        self._plan, self._recipe, self._known, self._clock, self._part = plan, recipe, known, clock, part
        self._guard = _Stoppable(NoGuard() if plan.in_process else ProcessGuard(), tell)
        self._thread = threading.Thread(target=self._work, name="check")

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End it; the output goes off."""
        self._guard.stopped.set()

    def wait(self) -> None:
        """Until it has ended."""
        self._thread.join()

    def _work(self) -> None:
        found: tuple[Finding, ...] = ()
        fault, trace, began_s = "", None, self._clock.now()
        try:
            trial_A = trial_recipe(self._recipe, self._part).current_A
            trace = empty_trace(self._recipe.line_frequency_Hz, trial_A)
            found = tuple(
                check_bench(
                    Bench(self._plan),
                    self._recipe,
                    load_limits(),
                    self._known,
                    clock=self._clock,
                    guard=self._guard,
                    part=self._part,
                    seen=self._guard.saw,
                    trace=trace,
                )
            )
        except (BenchError, InstrumentError) as error:
            fault = str(error)
        except Exception as error:  # noqa: BLE001  the window must hear that it has ended
            traceback.print_exc()
            fault = f"internal error: {error!r}"
        with contextlib.suppress(RuntimeError):  # the window is gone
            self.ended.emit(Checked(found, fault, trace, self._part, self._clock.now() - began_s))


class _Stoppable:
    """A guard whose beat ends the check where that was ordered, and tells the output's state anew while it lives."""

    def __init__(self, guard: Guard, tell: Callable[[OutputState], None]) -> None:
        self._guard, self._tell = guard, tell
        self._state = OutputState.UNKNOWN
        self.stopped = threading.Event()

    @property
    def needs_plan(self) -> bool:
        return self._guard.needs_plan

    def arm(self, plan: SafePlan) -> None:
        self._guard.arm(plan)

    def disarm(self) -> None:
        self._guard.disarm()

    def beat(self) -> None:
        self._guard.beat()
        self._tell(self._state)
        if self.stopped.is_set():
            raise InstrumentError("stopped by the operator", resource="check")

    def saw(self, state: OutputState) -> None:
        self._state = state
        self._tell(state)
