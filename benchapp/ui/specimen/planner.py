"""What the recipe would give, worked out beside the window: the latest question is answered, others are left out."""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PySide6.QtCore import QObject, Qt, QTimer, Signal

from benchapp.bench.limits import load_limits
from benchapp.errors import BenchError
from benchapp.events import EndReason
from benchapp.logbook.query import list_runs
from benchapp.plan.curve import Curve, after, curves
from benchapp.plan.learnt import Learnt, learn
from benchapp.plan.optimum import Proposal, Wish, plan
from benchapp.plan.prediction import predict
from benchapp.plan.weights import Pace
from benchapp.plan.wish import noise_of
from benchapp.recipe import Recipe
from benchapp.result.budget import BudgetPlan
from benchapp.result.card import InstrumentCard
from benchapp.run.recorded import open_run

_WAIT_MS = 250
_MOST_READINGS = 200_000  # of a run from which the noise is learnt
_RUNS_TRIED = 8
_ENDED = (str(EndReason.RULE), str(EndReason.OPERATOR))


@dataclass(frozen=True, slots=True)
class Foreseen:
    """`curves`: that of the recipe first; empty where `why` says what is missing. `target_ohm` is NaN without one,
    `time_s` when the run would end, `there` what it would give then. `others` reach the target by other means.
    """

    curves: tuple[Curve, ...] = ()
    nominal_ohm: float = float("nan")
    target_ohm: float = float("nan")
    time_s: float = float("nan")
    there: Proposal | None = None
    others: tuple[Proposal, ...] = ()
    noise_from: str = ""
    why: str = ""


class Planner(QObject):
    """Ask as often as the recipe changes.

    Signals:
        found: a Foreseen, for the recipe that was asked last.
    """

    found = Signal(object)
    _answered = Signal(int, object)

    def __init__(self, logbook: Path, card: Callable[[], InstrumentCard | None], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._logbook, self._card = logbook, card
        self._asked = 0
        self._recipe: Recipe | None = None
        self._busy = False
        self._learnt: tuple[int, Learnt | None, str] = (-1, None, "")
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self._begin)
        self._answered.connect(self._take, Qt.ConnectionType.QueuedConnection)

    def ask(self, recipe: Recipe | None) -> None:
        """What this recipe would give; None: nothing."""
        self._recipe = recipe
        self._asked += 1
        self._timer.start()

    @property
    def idle(self) -> bool:
        """Whether all that was asked is answered."""
        return not self._busy and not self._timer.isActive()

    def _begin(self) -> None:
        if self._busy:
            return  # begun again when the answer comes
        recipe, number = self._recipe, self._asked
        if recipe is None:
            self.found.emit(Foreseen(why="appears when the values are complete"))
            return
        self._busy = True
        threading.Thread(target=self._work, args=(number, recipe, self._card()), name="plan", daemon=True).start()

    def _work(self, number: int, recipe: Recipe, card: InstrumentCard | None) -> None:
        try:
            answer = self._foreseen(recipe, card)
        except BenchError as error:
            answer = Foreseen(why=str(error))
        except Exception as error:  # noqa: BLE001  or nothing would be foreseen any more
            traceback.print_exc()
            answer = Foreseen(why=f"internal error: {error!r}")
        try:
            self._answered.emit(number, answer)
        except RuntimeError:
            return  # the window is gone

    def _take(self, number: int, answer: Foreseen) -> None:
        self._busy = False
        if number == self._asked:
            self.found.emit(answer)
        else:
            self._begin()

    def _foreseen(self, recipe: Recipe, card: InstrumentCard | None) -> Foreseen:
        if recipe.nominal_ohm is None:
            return Foreseen(why="needs the nominal resistance")
        if recipe.channels:
            return Foreseen(why="is for one part; several on a scanner take longer by their turns")
        known = BudgetPlan(card, confidence=recipe.confidence, settle_s=recipe.settle_s, aperture_s=recipe.aperture_s)
        of_card = card is not None and card.voltmeter is not None and card.voltmeter.noise_per_rt_Hz is not None
        learnt, where = (None, "the accuracy data") if of_card else self._latest()
        if not of_card and learnt is None:
            why = "needs the noise of the bench: measure for half a minute, or give noise_nV_per_rt_Hz in accuracy data"
            return Foreseen(why=why)
        limits = load_limits()
        target_ohm = recipe.stop.target_ohm(recipe.nominal_ohm)
        wish = Wish(
            recipe.nominal_ohm, target_ohm, noise_of(known, learnt), known, limits.current_A, limits.power_W,
            pace=Pace() if learnt is None else learnt.pace, settle_s=recipe.settle_s,
            line_frequency_Hz=recipe.line_frequency_Hz, examine=recipe.examine,
        )  # fmt: skip
        found = curves(wish, recipe)
        if not found:
            return Foreseen(why="cannot be foreseen for this recipe")
        has_target = bool(np.isfinite(target_ohm))
        time_s = found[0].time_for(target_ohm) if has_target else (predict(recipe).run_s or float("inf"))
        there = after(wish, recipe, time_s) if np.isfinite(time_s) else None
        others = plan(wish).proposals if has_target else ()
        return Foreseen(tuple(found), recipe.nominal_ohm, target_ohm, time_s, there, others, where)

    def _latest(self) -> tuple[Learnt | None, str]:
        """What the latest run tells of the bench that can."""
        if not self._logbook.exists():
            return None, ""
        ended = [run for run in list_runs(self._logbook) if run.status in _ENDED]
        runs = sorted(ended, key=lambda run: -run.run_id)[:_RUNS_TRIED]
        if runs and runs[0].run_id == self._learnt[0]:
            return self._learnt[1:]
        for summary in runs:
            if summary.readings > _MOST_READINGS:
                continue
            try:
                run = open_run(self._logbook, summary.run_id)
                columns = run.record.readings
                if run.recipe.channels:
                    continue
                t, I, V = (np.array(column) for column in (columns.time_s, columns.current_A, columns.voltage_V))
                learnt = learn(run.recipe, t, I, V, f"run {summary.run_id}")
            except BenchError:
                continue
            self._learnt = (runs[0].run_id, learnt, f"run {summary.run_id}")
            return self._learnt[1:]
        self._learnt = (runs[0].run_id if runs else -1, None, "")
        return None, ""
