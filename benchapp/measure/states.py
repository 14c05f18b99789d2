"""The states of a run and the ways between them: one table."""

from __future__ import annotations

from benchapp.events import RunStatus

_S = RunStatus
TRANSITIONS: dict[RunStatus, frozenset[RunStatus]] = {
    _S.IDLE: frozenset({_S.CHECKING, _S.STOPPED}),
    _S.CHECKING: frozenset({_S.SETTLING, _S.STOPPED}),
    _S.SETTLING: frozenset({_S.RUNNING, _S.STOPPED}),
    _S.RUNNING: frozenset({_S.PAUSED, _S.DONE, _S.STOPPED}),
    _S.PAUSED: frozenset({_S.RUNNING, _S.STOPPED}),
    _S.DONE: frozenset(),
    _S.STOPPED: frozenset(),
}


class StateError(RuntimeError):
    """A way that the table does not have: a fault of the program."""


def go(before: RunStatus, after: RunStatus) -> RunStatus:
    """`after`, where the table has the way. Raises StateError."""
    if after not in TRANSITIONS[before]:
        raise StateError(f"a run cannot go from {before} to {after}")
    return after
