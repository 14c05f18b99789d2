"""From the window's wishes to runs of the engine: starts a session, polls what it has published, passes orders on."""

from __future__ import annotations

import contextlib
import math
import time
from pathlib import Path

from PySide6.QtCore import QObject, Qt, QTimer, Signal

from benchapp.bench.limits import load_limits
from benchapp.check.take import DEFAULT_PART
from benchapp.clock import ScaledClock
from benchapp.errors import BenchError
from benchapp.host.launch import Launcher
from benchapp.host.order import BenchChoice, RunOrder, bench_for, session_for
from benchapp.host.remote import RemoteSession
from benchapp.recipe import Recipe
from benchapp.result.card import InstrumentCard
from benchapp.run.seen import RunSeen
from benchapp.run.session import prepare_process
from benchapp.ui.check.lead_check import LeadCheck
from benchapp.ui.check.model import Checked
from benchapp.ui.output_watch import OutputWatch, Target

_POLL_MS = 33
# At thousands of readings a second the window would take a quarter of what the engine needs; a picture that dense says
# nothing more at thirty frames than at eight.
_FAST_POLL_MS = 125
_AGAIN_MS = 9
_ONCE_MORE_S = 0.15
_FAST_READINGS_PER_S = 3000.0
_CLOSE_WITHIN_S = 10.0


class RunController(QObject):
    """At most one run at a time. Lives in the window's thread.

    Signals:
        polled: the session, 30 times a second while it has news, and once after its end.
        failed: a run could not be started, with what to do about it.
        checked: a Checked: what a check has found, or why it found nothing.
        attached: a run that was under way already is shown from now on.
    """

    polled = Signal(object)
    failed = Signal(str)
    checked = Signal(object)
    attached = Signal(object)

    def __init__(self, logbook: Path, speed: float = 1.0, launcher: Launcher | None = None) -> None:
        super().__init__()
        self._launcher = launcher  # None: runs live in this process
        self._logbook = logbook
        self._speed = speed
        self.card: InstrumentCard | None = None
        self.accuracy_fault = ""
        self.study = ""  # of which study the next run is a step; empty for none
        self._session: RunSeen | None = None
        self._check: LeadCheck | None = None
        self._bench = contextlib.ExitStack()  # a simulated one, and what stands beside source and voltmeter
        self._bench_address = ""  # its source
        self._shown: object = None
        self._pace_since = (0.0, 0)
        self._once_more_at = math.inf
        self._looks_again = False
        self.output = OutputWatch(lambda: self._session, self)
        self._target: Target | None = None  # the source of the run under way
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(_POLL_MS)
        self._timer.timeout.connect(self._poll)

    def use_accuracy(self, path: Path) -> None:
        """Take the accuracy data in a file, from the next run on. Raises InputError."""
        from benchapp.result.card import load_card

        self.card, self.accuracy_fault = load_card(path), ""

    @property
    def accuracy_in_words(self) -> str:
        """Whose accuracy data is in use; or that none is, and what U covers then."""
        if self.accuracy_fault:
            return f"The accuracy data that was in use cannot be read: {self.accuracy_fault.rstrip('.')}"
        if self.card is None:
            return "No accuracy data: U covers repeatability only"
        return f"Accuracy data of {self.card.in_words}"

    @property
    def logbook(self) -> Path:
        """Where runs are written down."""
        return self._logbook

    @property
    def session(self) -> RunSeen | None:
        """The run under way, or the last one."""
        return self._session

    @property
    def running(self) -> bool:
        """Whether a run is under way."""
        return self._session is not None and not self._session.ended

    def start(self, recipe: Recipe, choice: BenchChoice) -> bool:
        """Begin a run; False where it cannot begin (`failed` says why)."""
        if self.running or self.checking:
            return False
        self._close_bench()
        self.output.hand_over()
        try:
            self._session = self._begin(self._order(recipe, choice))
        except BenchError as error:
            self._session = None
            self._close_bench()
            self.output.take_back()
            self.failed.emit(str(error))
            return False
        self._follow()
        return True

    def _begin(self, order: RunOrder) -> RunSeen:
        if self._launcher is not None:
            far = self._launcher.begin(order)
            self._use(far.source, order.choice)
            return far
        session = self._bench.enter_context(session_for(order))
        self._use(session.plan.source, order.choice)
        prepare_process()
        session.start()
        return session

    def _follow(self) -> None:
        self._shown = None
        self._pace_since = (time.monotonic(), 0)
        self._timer.setInterval(_POLL_MS)
        self._timer.start()

    def look_for_runs(self) -> None:
        """Show a run that is under way in another process; and have one ready for the next run."""
        if self._launcher is None:
            return
        found = self._launcher.found()
        if found is None:
            self._launcher.warm_up()
            return
        self.output.hand_over()
        self._session = found
        self._target = Target(found.source, found.card.dialect)
        self._follow()
        self.attached.emit(found)

    @property
    def attached_in_words(self) -> str:
        """Whose the run is that was found under way."""
        session = self._session
        if not isinstance(session, RemoteSession):
            return ""
        if session.owner:
            return f"Run {session.run_id} went on without a window: it is shown from its first reading and is yours."
        return (
            f"Looking on at run {session.run_id} on {session.source}. It takes its orders from"
            f" {session.owner_name or 'nobody'}; Esc switches the output off all the same."
        )

    @property
    def looks_on(self) -> bool:
        """Whether the run that is shown takes its orders from elsewhere."""
        return isinstance(self._session, RemoteSession) and not self._session.owner

    @property
    def outlives_window(self) -> bool:
        """Whether the run under way could go on without this window."""
        return self.running and isinstance(self._session, RemoteSession)

    def leave(self) -> None:
        """Look on no longer, or let the run go on by itself."""
        if isinstance(self._session, RemoteSession):
            self._session.leave(running=True)

    @property
    def checking(self) -> bool:
        """Whether a check is under way."""
        return self._check is not None

    def check(self, recipe: Recipe, choice: BenchChoice, part: float = DEFAULT_PART) -> bool:
        """Begin a check of leads and contacts; False where it cannot begin. `checked` tells when it has ended."""
        if self.running or self.checking:
            return False
        self._close_bench()
        self.output.hand_over()
        try:
            order = self._order(recipe, choice)
            plan, _ = self._bench.enter_context(bench_for(choice, recipe, self._speed))
            self._use(plan.source, choice)
            load_limits().check(recipe)
        except BenchError as error:
            self._close_bench()
            self.output.take_back()
            self.checked.emit(Checked((), str(error), None, part, 0.0))
            return False
        self._check = LeadCheck(plan, recipe, order.known, ScaledClock(self._speed), self.output.tell, part)
        self._check.ended.connect(self._check_ended, Qt.ConnectionType.QueuedConnection)
        self._check.start()
        return True

    def _check_ended(self, found: object) -> None:
        if self._check is not None:
            self._check.wait()
            self._check = None
        if self._target is not None:
            self.output.follow(self._target)
        self.output.take_back()
        self.checked.emit(found)

    def off(self, why: str) -> None:
        """The output off: what is under way ends; where there is nothing, the source is told so directly."""
        if self._check is not None:
            self._check.stop()
        elif self.running:
            self.stop(why)
        else:
            self.output.off()

    def stop(self, why: str = "ended in the window") -> None:
        """End the run under way; the output goes off."""
        if self._session is not None:
            self._session.control.stop(why)

    def shut_down(self) -> None:
        """End everything and wait until the output is off; for closing the window."""
        self._timer.stop()
        if self._check is not None:
            self._check.stop()
            self._check.wait()
            self._check = None
        if self._session is not None and not self.looks_on:
            self._session.control.stop("the window was closed")
            self._session.wait(None if self._launcher is None else _CLOSE_WITHIN_S)
        self.output.close()
        self._close_bench()
        if self._launcher is not None:
            self._launcher.close()

    def _pace(self, count: int) -> None:
        """Thirty looks a second, fewer where readings come by thousands."""
        now = time.monotonic()
        if now - self._pace_since[0] < 0.5:
            return
        rate = (count - self._pace_since[1]) / (now - self._pace_since[0])
        self._pace_since = (now, count)
        self._timer.setInterval(_FAST_POLL_MS if rate > _FAST_READINGS_PER_S else _POLL_MS)

    def _use(self, source: str, choice: BenchChoice) -> None:
        self._target = Target(source, choice.source_spoken)
        self._bench_address = source if choice.scenario else ""

    def _order(self, recipe: Recipe, choice: BenchChoice) -> RunOrder:
        return RunOrder(recipe, choice, self._logbook, self._speed, self.card, self.study)

    def _close_bench(self) -> None:
        """A simulated bench ends with what was done on it, or when the next run begins."""
        if self._bench_address:
            self.output.forget(self._bench_address)
            self._bench_address = ""
        with contextlib.suppress(OSError):
            self._bench.close()
        if isinstance(self._session, RemoteSession):
            self._session.leave()  # its process goes, and a simulated bench with it

    def _look_again(self) -> None:
        """Unless the run has ended, or the window was closed, since that was arranged."""
        if self._timer.isActive():
            self._poll()

    def _poll(self) -> None:
        session = self._session
        if session is None:
            return
        if isinstance(session, RemoteSession):
            session.poll()
        ended = session.ended
        if session.snapshot is self._shown and not ended and not self._looks_again:
            # What comes a moment after a look need not wait for the next one.
            self._looks_again = True
            QTimer.singleShot(_AGAIN_MS, self._look_again)
        else:
            self._looks_again = False
        now = time.monotonic()
        if session.snapshot is not self._shown or ended or now >= self._once_more_at:
            # Numbers are shown ten times a second at most: what stands still must be told once more, or the last
            # snapshot before a pause would never be shown whole.
            self._once_more_at = math.inf if session.snapshot is self._shown else now + _ONCE_MORE_S
            self._shown = session.snapshot
            self._pace(session.history.readings.count)
            self.output.show()  # before the rest: what says that a run has ended finds the output's state beside it
            self.polled.emit(session)
        if ended:
            self._timer.stop()
            if self._target is not None:
                self.output.follow(self._target)
            self.output.take_back()
            if self._launcher is not None:
                self._launcher.warm_up()
