"""The simulated switch: numbered channels, each of which may stand for a specimen or a polarity."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.scpi.errors import ScpiError

_LIST = re.compile(r"\(@(\d+)\)")
_CONTACT_S = 0.01


class Switch(ScpiDevice):
    """Channels from 1 on; `changed` hears which are closed."""

    def __init__(
        self, channels: int, changed: Callable[[frozenset[int]], None], clock: Clock, lock: threading.RLock
    ) -> None:
        super().__init__("Generic,Switch,0,1.0", clock, lock)
        self._channels, self._changed = channels, changed
        self.closed: frozenset[int] = frozenset()
        self._ready_at = 0.0
        self.add("ROUTe:CLOSe", set_=lambda text: self._go(self.closed | {self._channel(text)}),
                 query_with=lambda text: str(int(self._channel(text) in self.closed)), query=self._no_list)  # fmt: skip
        self.add("ROUTe:OPEN", set_=lambda text: self._go(self.closed - {self._channel(text)}))
        self.add("ROUTe:OPEN:ALL", do=lambda: self._go(frozenset()))

    def reset(self) -> None:
        """Everything open."""
        self._go(frozenset())

    def complete_at(self) -> float:
        """When the contacts have come to rest."""
        return self._ready_at

    def _channel(self, text: str) -> int:
        match = _LIST.fullmatch(text.replace(" ", ""))
        if match is None:
            raise ScpiError(-104)
        if not 1 <= int(match[1]) <= self._channels:
            raise ScpiError(-222)
        return int(match[1])

    def _no_list(self) -> str:
        raise ScpiError(-109)

    def _go(self, closed: frozenset[int]) -> None:
        self.closed = closed
        self._ready_at = self.clock.now() + _CONTACT_S
        with self.lock:
            self._changed(closed)
