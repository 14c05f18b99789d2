"""The output as it reads, for the plate: from the run while there is one, else asked again and again; and OFF always.

One thread of its own asks; the window never waits for it but for the moment in which a run takes the instrument over.
"""

from __future__ import annotations

import queue
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QObject, QTimer, Signal

from benchapp.bench.armed import Armed, left_behind
from benchapp.bench.off import OutputReader, switch_off
from benchapp.bench.output import OutputSeen, OutputState
from benchapp.run.seen import RunSeen
from drivers.dialect import Dialect, load_dialect
from drivers.errors import AddressError, DialectError
from drivers.wires import check_address

_ASK_EVERY_S = 0.4
_SHOW_EVERY_MS = 50
_TAKE_OVER_S = 3.0
_WORST_FIRST = (OutputState.ON, OutputState.UNKNOWN, OutputState.OFF, OutputState.NONE)


@dataclass(frozen=True, slots=True)
class Target:
    """A source to be read: its address and the name or path of its dialect."""

    address: str
    dialect: str


class OutputWatch(QObject):
    """Lives in the window's thread.

    Signals:
        seen: the state and what to say about it, whenever either is another.
        said: what became of an order to switch off outside a run.
        found_left_behind: sources that a dead program switched on, with how each reads now.
    """

    seen = Signal(object)
    said = Signal(str)
    found_left_behind = Signal(object)

    def __init__(self, session: Callable[[], RunSeen | None], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._named: Target | None = None  # chosen, but nobody has asked it yet
        self._orders: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._targets: tuple[Target, ...] = ()
        self._readers: dict[Target, OutputReader] = {}
        self._idle = OutputSeen.now(OutputState.NONE)
        self._held = False
        self._shown: tuple[OutputState, str] | None = None
        self._left: frozenset[Target] = frozenset()  # what was left behind; for the thread that asks
        self._thread = threading.Thread(target=self._work, name="output", daemon=True)
        self._thread.start()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.show)
        self._timer.start(_SHOW_EVERY_MS)

    # What the window wants.

    def begin(self) -> None:
        """The window listens: look for what was left behind."""
        self._orders.put(self._look_for_left_behind)

    def name(self, target: Target | None) -> None:
        """The source that is chosen; it is not asked before somebody has identified it, or a run has used it."""
        if target != self._named:
            self._named = target
            self._orders.put(lambda: self._keep(lambda old: old == target or old in self._left))

    def follow(self, target: Target) -> None:
        """Read this one from now on, beside what was left behind."""
        self._orders.put(lambda: self._add(target))

    def forget(self, address: str) -> None:
        """It does not exist any more."""
        self._orders.put(lambda: self._keep(lambda old: old.address != address))

    def hand_over(self) -> None:
        """A run begins: hang up, and ask no more until it has ended."""
        done = threading.Event()
        self._held = True

        def let_go() -> None:
            self._close()
            done.set()

        self._orders.put(let_go)
        done.wait(_TAKE_OVER_S)

    def tell(self, state: OutputState) -> None:
        """What a check reads while it has the instrument; from its own thread."""
        self._idle = OutputSeen.now(state)

    def take_back(self) -> None:
        """The run has ended."""
        self._held = False
        self._orders.put(lambda: None)

    def off(self) -> None:
        """Switch off all that is known: what was named, what is read, what was left behind.

        Each at once and in a thread of its own, so that none waits for one that is silent, nor for the thread that
        reads. One that serves a single client hears us only when that thread has hung up: then it is told once more.
        """
        named = self._named
        wanted = list(self._targets)
        if named is not None and named not in wanted and _is_address(named.address):
            wanted.append(named)
        for target in wanted:
            threading.Thread(target=self._switch_off_at_once, args=(target,), name="off", daemon=True).start()
        if named is not None:
            self.follow(named)  # from now on it is read, too

    def _switch_off_at_once(self, target: Target) -> None:
        result = switch_off(target.address, _dialect(target.dialect))
        if result.on is False:
            self.said.emit(result.in_words)
            self._orders.put(lambda: None)  # look at once
        else:
            self._orders.put(lambda: self._switch_off(target))

    def close(self) -> None:
        """End the thread."""
        self._timer.stop()
        self._orders.put(None)
        self._thread.join(_TAKE_OVER_S)

    # In the window's thread.

    def show(self) -> None:
        """Tell what is known now, where that is news."""
        session = self._session()
        if session is not None and (not session.ended or session.output.at_s > self._idle.at_s):
            # "On" is never too old to be believed, while a run lives; "off" is.
            now = session.output if session.output.state is OutputState.ON else session.output.fresh()
        elif self._idle.state is OutputState.NONE and self._named is not None:
            now = OutputSeen(OutputState.UNKNOWN, self._idle.at_s, "nobody has asked it yet: identify it on the Bench")
        else:
            now = self._idle.fresh()
        if (now.state, now.text) != self._shown:
            self._shown = (now.state, now.text)
            self.seen.emit(now)
        if session is not None:
            session.output_is_shown(now)

    # In the thread that asks.

    def _work(self) -> None:
        while True:
            try:
                order = self._orders.get(timeout=_ASK_EVERY_S)
            except queue.Empty:
                order = self._ask
            if order is None:
                self._close()
                return
            try:
                order()
            except Exception as error:  # noqa: BLE001  the thread must live on: without it OFF would not act
                traceback.print_exc()
                self._idle = OutputSeen.now(OutputState.UNKNOWN, f"internal error: {error!r}")
            if order != self._ask and self._orders.empty():
                self._ask()

    def _ask(self) -> None:
        if self._held:
            return
        states = []
        for target in self._targets:
            reader = self._readers.get(target)
            if reader is None:
                reader = self._readers[target] = OutputReader(target.address, _dialect(target.dialect))
            states.append(reader.read())
        worst = min(states, key=lambda seen: _WORST_FIRST.index(seen.state), default=OutputSeen.now(OutputState.NONE))
        # The age of the whole is that of its oldest part.
        oldest = min((seen.at_s for seen in states), default=worst.at_s)
        self._idle = OutputSeen(worst.state, oldest, worst.text)

    def _add(self, target: Target) -> None:
        if target not in self._targets and _is_address(target.address):
            self._targets = (*self._targets, target)

    def _keep(self, wanted: Callable[[Target], bool]) -> None:
        for target in self._targets:
            if not wanted(target) and target in self._readers:
                self._readers.pop(target).close()
        self._targets = tuple(target for target in self._targets if wanted(target))

    def _close(self) -> None:
        for reader in self._readers.values():
            reader.close()
        self._readers.clear()

    def _look_for_left_behind(self) -> None:
        found = left_behind()
        self._left = frozenset(Target(armed.address, armed.dialect) for armed in found)
        for target in self._left:
            self._add(target)
        if found:
            self._ask()
            self.found_left_behind.emit([(armed, self._readers_say(armed)) for armed in found])

    def _readers_say(self, armed: Armed) -> OutputState:
        reader = self._readers.get(Target(armed.address, armed.dialect))
        return OutputState.UNKNOWN if reader is None else reader.read().state

    def _switch_off(self, target: Target) -> None:
        self._close()  # an instrument for one client would not hear us otherwise
        self.said.emit(switch_off(target.address, _dialect(target.dialect)).in_words)


def _dialect(name: str) -> Dialect:
    try:
        return load_dialect(name.strip() or "scpi", "source")
    except DialectError:
        return load_dialect("scpi", "source")


def _is_address(text: str) -> bool:
    try:
        check_address(text)
    except AddressError:
        return False
    return True
