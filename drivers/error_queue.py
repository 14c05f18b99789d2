"""What an instrument has to complain of: its error queue emptied, or its event register read."""

from __future__ import annotations

import re

from drivers.dialect import Dialect
from drivers.errors import LinkTimeout, ReplyError
from drivers.link import Link, to_whole

_ERROR = re.compile(r"\s*([+-]?\d{1,9})\s*(?:,\s*\"?(.*?)\"?\s*)?")


class ErrorQueue:
    """That of one instrument. `there` is False once it has turned out that there is none."""

    def __init__(self, link: Link, dialect: Dialect) -> None:
        self._link, self._dialect = link, dialect
        self.there = dialect.errors.mode in ("queue", "register")

    def take(self) -> list[tuple[int, str]]:
        """All entries, code and text; bounded, because some queues never empty."""
        if not self.there:
            return []
        return self._read_register() if self._dialect.errors.mode == "register" else self._empty_queue()

    def _read_register(self) -> list[tuple[int, str]]:
        errors = self._dialect.errors
        value = to_whole(self._link.query(errors.query), self._link, errors.query)
        raised = value & errors.bits
        return [(raised, f"its event register holds {value}")] if raised else []

    def _empty_queue(self) -> list[tuple[int, str]]:
        found: list[tuple[int, str]] = []
        for _ in range(self._dialect.errors.drain_max):
            try:
                reply = self._link.query(self._dialect.error_query)
            except LinkTimeout:
                self.there = False
                break
            match = _ERROR.fullmatch(reply)
            if match is None:
                raise ReplyError(
                    f"{reply[:80]!r} is no error entry",
                    resource=self._link.resource,
                    command=self._dialect.error_query,
                    remedy="Its answers are out of step, or it has no such queue: switch it off and on, or name a"
                    " dialect that says how it reports errors.",
                )
            if int(match[1]) == 0:
                break
            found.append((int(match[1]), match[2] or ""))
        return found
