"""Errors as SCPI-99, volume 2, chapter 21.8 numbers them, and the queue that holds them."""

from __future__ import annotations

from collections import deque

TEXTS = {
    0: "No error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -214: "Trigger deadlock",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
# Event status register bits, IEEE 488.2-1992, 11.5.1.
_EVENT_BITS = {1: 0x20, 2: 0x10, 3: 0x08, 4: 0x04}


class ScpiError(Exception):
    """One error to be queued."""

    def __init__(self, code: int) -> None:
        super().__init__(f"{code} {TEXTS[code]}")
        self.code = code


class ErrorQueue:
    """First in, first out; when it is full its last entry becomes -350, and the oldest stay."""

    def __init__(self, capacity: int = 16) -> None:
        self._entries: deque[int] = deque()
        self._capacity = capacity

    def __len__(self) -> int:
        return len(self._entries)

    def put(self, code: int) -> None:
        """Queue an error."""
        if len(self._entries) < self._capacity:
            self._entries.append(code)
        else:
            self._entries[-1] = -350

    def take(self) -> str:
        """The oldest entry as `code,"text"`; 0 where there is none."""
        code = self._entries.popleft() if self._entries else 0
        return f'{code},"{TEXTS[code]}"'

    def clear(self) -> None:
        """Empty the queue."""
        self._entries.clear()


def event_bit(code: int) -> int:
    """The bit of the standard event status register for an error code."""
    return _EVENT_BITS.get(-code // 100, 0x08)
