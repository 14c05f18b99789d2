"""A study on the Measure stage: its runs one after the other, with a word before those that need a hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal

from benchapp.errors import BenchError
from benchapp.events import EndReason
from benchapp.recipe import Recipe, recipe_to_toml
from benchapp.study.kinds import KINDS, Step
from benchapp.study.recorded import StudyKey
from benchapp.ui.models import RecipeModel
from benchapp.ui.run_controller import RunController

if TYPE_CHECKING:
    from benchapp.run.seen import RunSeen

_PAUSE_MS = 200


class StudyConductor(QObject):
    """One study at a time. `ask` shows what is to be done before a run and says whether to go on.

    Signals:
        told: how far it is, or why it ended.
        done: the study's number, where every run is there.
    """

    told = Signal(str)
    done = Signal(int)

    def __init__(
        self, controller: RunController, recipe: RecipeModel, measure: Callable[[], None], ask: Callable[[str], bool]
    ) -> None:
        super().__init__()
        self._controller, self._recipe, self._measure, self._ask = controller, recipe, measure, ask
        self._steps: list[Step] = []
        self._kind, self._first, self._number, self._repeats = "", 0, 0, 1
        self._texts: dict[str, str] = {}
        self._session: RunSeen | None = None
        controller.polled.connect(self._polled)

    @property
    def running(self) -> bool:
        """Whether runs are still to come."""
        return bool(self._steps)

    def start(self, kind: str, recipe: Recipe, *, by_hand: bool) -> bool:
        """Begin; False where it cannot (`told` says why). `by_hand`: there is somebody to move leads."""
        if self.running or self._controller.running or self._controller.checking:
            self.told.emit("Something else uses the bench")
            return False
        self._repeats = KINDS[kind].repeats
        try:
            steps = KINDS[kind].steps(recipe, self._repeats)
        except BenchError as error:
            self.told.emit(str(error))
            return False
        self._steps = steps if by_hand else [Step(step.recipe) for step in steps]
        self._kind, self._first, self._number = kind, 0, 0
        self._texts = dict(self._recipe.texts)
        self._next()
        return True

    def _next(self) -> None:
        step, count = self._steps[self._number], len(self._steps)
        if step.before and not self._ask(f"{step.before}. Run {self._number + 1} of {count}."):
            self._end("The study was left; `benchapp study` goes on with it")
            return
        self.told.emit(f"{self._kind}: run {self._number + 1} of {count}")
        self._controller.study = StudyKey(self._first, self._kind, self._number, count, self._repeats).told
        before = self._controller.session
        self._recipe.take_text(recipe_to_toml(step.recipe))
        self._measure()
        self._controller.study = ""
        self._session = self._controller.session
        if self._session is None or self._session is before:
            self._end("The run could not be started")

    def _polled(self, session: RunSeen) -> None:
        if not self.running or session is not self._session or not session.ended:
            return
        self._session = None
        end = session.end
        if end is None or end.reason is not EndReason.RULE or not end.output_off:
            self._end("The study was broken off" if end is None else f"The study was broken off: {end.text}")
            return
        self._first = self._first or session.run_id or 0
        self._number += 1
        if self._number < len(self._steps):
            QTimer.singleShot(_PAUSE_MS, self._next)
            return
        self._end("")
        self.done.emit(self._first)

    def _end(self, text: str) -> None:
        self._steps = []
        self._recipe.take(self._texts, self._recipe.path)
        if text:
            self.told.emit(text)
