"""One test of a check, and how it went."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from benchapp.result.validity import EFFECTS, Effect


class State(StrEnum):
    """How a test went."""

    OK = "ok"
    FAILS = "fails"
    WAITS = "waits"
    NOT_TESTED = "not tested"


@dataclass(frozen=True, slots=True)
class Finding:
    """One test. `where` are the leads or the instrument; `code` is the flag that a run would get for it, by which the
    gate decides.
    """

    name: str
    state: State
    figure: str = ""
    limit: str = ""
    where: str = ""
    remedy: str = ""
    code: str = ""

    @property
    def effect(self) -> Effect:
        """What the gate's table says; nothing for what passed."""
        if self.state is not State.FAILS or not self.code:
            return Effect.NOTICE
        return EFFECTS[self.code]


def outcome(
    name: str, *, fails: bool, figure: str, limit: str = "", where: str = "", remedy: str = "", code: str = ""
) -> Finding:
    """One that was made; where it points and what to do are said where it fails."""
    if not fails:
        return Finding(name, State.OK, figure, limit)
    return Finding(name, State.FAILS, figure, limit, where, remedy, code)
