"""What the last check has found, for how long that holds, and whether it holds a run back."""

from __future__ import annotations

import time
from dataclasses import dataclass

from PySide6.QtCore import QObject, Qt, QTimer, Signal

from benchapp.check.finding import Finding, State
from benchapp.check.trace import Trace
from benchapp.result.validity import Effect
from benchapp.ui.models import BenchModel, RecipeModel

GOOD_FOR_S = 1800.0
_OF_NO_CONCERN = (  # to leads and contacts
    *("low", "high", "rule", "guard_band", "confidence"),
    *("blocks", "duration", "until", "endless"),
)


@dataclass(frozen=True, slots=True)
class Checked:
    """One check that has ended. `fault` says why there are no findings; `part` is that of the recipe's current."""

    findings: tuple[Finding, ...]
    fault: str
    trace: Trace | None
    part: float
    took_s: float


class CheckModel(QObject):
    """The last check. It speaks of one specimen on one bench with one recipe: another of them, and it says nothing.

    Signals:
        changed: something was found, passed over, or does not hold any longer.
    """

    changed = Signal()

    def __init__(self, recipe: RecipeModel, bench: BenchModel) -> None:
        super().__init__()
        self._recipe, self._bench = recipe, bench
        self._of: object = None
        self._ended_s = 0.0
        self._passed_over: set[str] = set()
        self._expiry = QTimer(self)  # what shows the check hears when it is too old
        self._expiry.setSingleShot(True)
        self._expiry.setTimerType(Qt.TimerType.PreciseTimer)  # a coarse one comes too early
        self._expiry.timeout.connect(self.changed)
        self.last: Checked | None = None
        self.under_way = False
        for model in (recipe, bench):
            model.changed.connect(self._forget_if_other)

    def begin(self) -> None:
        """A check is under way."""
        self.under_way, self.last, self._of = True, None, self._subject()
        self._passed_over = set()
        self.changed.emit()

    def end(self, checked: Checked) -> None:
        """It has ended."""
        self.under_way, self.last, self._ended_s = False, checked, time.monotonic()
        self._expiry.start(round(1000 * GOOD_FOR_S) + 20)
        self._forget_if_other()
        self.changed.emit()

    def forget(self) -> None:
        """Leads were moved: what was found says nothing any longer."""
        if self.last is not None:
            self.last = None
            self.changed.emit()

    def pass_over(self, names: list[str]) -> None:
        """Somebody takes on what would make a run doubtful; what would make it not valid cannot be passed over."""
        self._passed_over |= {name for name in names if name in self.doubts}
        self.changed.emit()

    @property
    def shut(self) -> list[str]:
        """What would make a run not valid, by name."""
        return self._with(Effect.NOT_VALID)

    @property
    def doubts(self) -> list[str]:
        """What would make a run doubtful and has not been passed over, by name."""
        return [name for name in self._with(Effect.DOUBTFUL) if name not in self._passed_over]

    @property
    def holds(self) -> list[str]:
        """What holds a run back, by name."""
        return [*self.shut, *self.doubts]

    @property
    def good(self) -> bool:
        """Whether there was a check that lets a run start, not long ago."""
        fresh = self.last is not None and time.monotonic() - self._ended_s < GOOD_FOR_S
        return fresh and not self.last_fault and not self.holds

    @property
    def last_fault(self) -> str:
        """Why the last check found nothing; empty where it did."""
        return "" if self.last is None else self.last.fault

    def _with(self, effect: Effect) -> list[str]:
        found = () if self.last is None else self.last.findings
        return [one.name for one in found if one.state is State.FAILS and one.effect is effect]

    def _subject(self) -> object:
        texts = {key: text for key, text in self._recipe.texts.items() if text and key not in _OF_NO_CONCERN}
        return texts, self._bench.choice

    def _forget_if_other(self) -> None:
        if self._of is not None and self._subject() != self._of:
            self.forget()
