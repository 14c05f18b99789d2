"""What is known of a source's output, and since when: only what was read, and only while that is fresh."""

from __future__ import annotations

import time
from dataclasses import dataclass
from enum import StrEnum

FRESH_S = 1.0  # what was read longer ago is not known any more


class OutputState(StrEnum):
    """What is known of a source's output."""

    NONE = "–"
    OFF = "off"
    ON = "ON"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class OutputSeen:
    """A state and the moment of its reading, on the monotonic clock; `text` says more."""

    state: OutputState
    at_s: float
    text: str = ""

    @classmethod
    def now(cls, state: OutputState, text: str = "") -> OutputSeen:
        """Read just now."""
        return cls(state, time.monotonic(), text)

    def fresh(self) -> OutputSeen:
        """Itself, or "not known" where it is too old to be believed."""
        if self.state in (OutputState.OFF, OutputState.ON) and time.monotonic() - self.at_s > FRESH_S:
            return OutputSeen(OutputState.UNKNOWN, self.at_s, "no news for a second")
        return self


def state_of(on: bool | None) -> OutputState:
    """The state for what was read; None where nothing could be."""
    return OutputState.UNKNOWN if on is None else OutputState.ON if on else OutputState.OFF
