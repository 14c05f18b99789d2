"""Orders to a running sequencer, from any thread. Stop is looked at in every wait, the others between readings."""

from __future__ import annotations

import queue
from dataclasses import dataclass
from enum import StrEnum


class OrderKind(StrEnum):
    """What can be asked of a run."""

    PAUSE = "pause"
    RESUME = "resume"
    MARK = "mark"


@dataclass(frozen=True, slots=True)
class Order:
    """One order; `text` is a mark's note."""

    kind: OrderKind
    text: str = ""


class Control:
    """The sending side is for any thread, the taking side for the sequencer. `stop_text` is set once and for all."""

    def __init__(self) -> None:
        self.stop_text: str | None = None
        self._orders: queue.SimpleQueue[Order] = queue.SimpleQueue()

    def pause(self) -> None:
        """Stop reading, current to zero, until `resume`."""
        self._orders.put(Order(OrderKind.PAUSE))

    def resume(self) -> None:
        """Go on after a pause."""
        self._orders.put(Order(OrderKind.RESUME))

    def mark(self, text: str) -> None:
        """Note an event at this moment of the run."""
        self._orders.put(Order(OrderKind.MARK, text))

    def stop(self, why: str = "stopped by the operator") -> None:
        """End the run: output off, record closed."""
        self.stop_text = self.stop_text or why

    def idle(self) -> bool:
        """Whether nothing is asked."""
        return self.stop_text is None and self._orders.empty()

    def take(self) -> Order | None:
        """The next order, or None."""
        try:
            return self._orders.get_nowait()
        except queue.Empty:
            return None
