"""Waiting until what was sent has acted: by an answer, by asking again and again, by the status byte, or for a time."""

from __future__ import annotations

from collections.abc import Callable

from drivers.dialect import Sync
from drivers.errors import LinkTimeout
from drivers.link import Link, to_float

_EVENT_STATUS = 0x20  # of the status byte, IEEE 488.2, 11.2


def await_completion(link: Link, sync: Sync, send: Callable[[str], None], timeout_s: float) -> None:
    """As the dialect says. Raises LinkTimeout."""
    if sync.mode == "query":
        to_float(link.query(sync.query, timeout_s), link, sync.query)
    elif sync.mode == "delay":
        link.pause(sync.delay_s)
    elif sync.mode == "poll":
        remedy = "Check what stands in [sync] of the dialect."
        _ask_until(lambda: link.query(sync.query) == sync.done, link, sync, timeout_s, remedy)
    elif sync.mode == "status":
        send(sync.query)
        remedy = "Let *ESE 1 stand in reset, or write another mode in [sync] of the dialect."
        _ask_until(lambda: bool(link.status_byte() & _EVENT_STATUS), link, sync, timeout_s, remedy)
        link.query("*ESR?")  # which clears the bit


def _ask_until(done: Callable[[], bool], link: Link, sync: Sync, timeout_s: float, remedy: str) -> None:
    waited_s = 0.0
    while not done():
        if waited_s >= timeout_s:
            problem = f"not done within {timeout_s:.3g} s"
            raise LinkTimeout(problem, resource=link.resource, command=sync.query, remedy=remedy)
        link.pause(sync.interval_s)
        waited_s += sync.interval_s
