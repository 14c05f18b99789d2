"""How an instrument refuses: found with a nonsense query as the control. A nonsense query is safe, a setting is not."""

from __future__ import annotations

import re

from drivers.errors import LinkTimeout
from drivers.link import Link
from drivers.probe.spellings import NONSENSE

QUEUE_ENTRY = re.compile(r"\s*([+-]?\d{1,9})\s*(,.*)?")
_DRAIN = 40
_ERROR_BITS = 0x3C


class ErrorChannel:
    """Asks with a control: `refused` says whether anything was since it was asked last.

    `mode` is "queue", "register", "reply" (something stands in place of data) or "none" (a mute instrument).
    """

    def __init__(self, link: Link, timeout_s: float) -> None:
        self._link, self._timeout_s = link, timeout_s
        self.mode = "none"
        self.query = ""
        self.old: list[str] = []
        self.answers_anything = False
        self._find()

    def ask(self, query: str) -> str | None:
        """The answer; None where none comes."""
        try:
            return self._link.query(query, self._timeout_s)
        except LinkTimeout:
            return None

    def refused(self) -> bool:
        """Whether the instrument has refused something since it was asked last."""
        if self.mode == "queue":
            return bool(self._drain())
        if self.mode == "register":
            reply = self.ask(self.query)
            return bool((_register(reply) or 0) & _ERROR_BITS)
        return False

    def _find(self) -> None:
        control = f":{NONSENSE}:{NONSENSE}?"
        self.query = ":SYST:ERR?"
        first = self.ask(self.query)
        if first is not None and QUEUE_ENTRY.fullmatch(first):
            self.mode = "queue"
            if not first.lstrip(" +-").startswith("0"):
                self.old.append(first)
            self.old += self._drain()
            nonsense = self.ask(control)
            if self._drain() and nonsense is None:
                return
            if nonsense is not None:
                self.answers_anything = True
        self.mode, self.query = "none", "*ESR?"
        before = self.ask(self.query)
        if _register(before) is not None:
            self.ask(control)
            if (_register(self.ask(self.query)) or 0) & _ERROR_BITS:
                self.mode = "register"
                return
        self.query = ""
        first, second = self.ask(control), self.ask(f":{NONSENSE}B?")
        if first is not None:
            # The same words to two kinds of nonsense: an error in place of data, or an instrument that says anything.
            self.mode = "reply" if first == second and not QUEUE_ENTRY.fullmatch(first) else "none"
            self.query = first if self.mode == "reply" else ""
            self.answers_anything = self.mode == "none"

    def _drain(self) -> list[str]:
        found = []
        for _ in range(_DRAIN):
            reply = self.ask(self.query)
            match = None if reply is None else QUEUE_ENTRY.fullmatch(reply)
            if reply is None or match is None or not match[1].strip("+-0"):
                break
            found.append(reply)
        return found


def _register(reply: str | None) -> int | None:
    """What a register holds; None for a reply that is no whole number of a register's size."""
    match = re.fullmatch(r"\s*\+?([0-9]{1,9})\s*", reply or "")
    return None if match is None else int(match[1])
