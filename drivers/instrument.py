"""A dialect spoken over a link: probing of spellings, settings with readback, the error queue."""

from __future__ import annotations

import re
from dataclasses import dataclass

from drivers.dialect import Dialect, Spelling
from drivers.errors import LinkTimeout, ReplyError, ReportedError, SettingError
from drivers.link import Link, to_float

_ERROR = re.compile(r"\s*([+-]?\d+)\s*(?:,\s*\"?(.*?)\"?\s*)?")
_ERROR_REPLY = re.compile(r"\s*-[1-4]\d\d\s*,")  # an error reply in place of data
_DRAIN = 32
_PROBE_TIMEOUT_S = 0.6
_SET_TOLERANCE = 1e-4
_ROUNDING = 12.0  # a range may be the next decade above what was asked


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting as asked and as read back; `verified` is False where the instrument cannot be asked."""

    name: str
    asked: str
    read_back: str
    verified: bool


class Instrument:
    """What every role builds on. `settings` lists what was set, in order."""

    def __init__(self, link: Link, dialect: Dialect) -> None:
        self.link = link
        self.dialect = dialect
        self.identity = ""
        self.settings: list[Setting] = []
        self.notices: list[str] = []
        self._compound = dialect.compound
        self._has_errors = bool(dialect.error_query)
        self._chosen: dict[str, Spelling | None] = {}

    def open(self) -> None:
        """Identify, drain old errors (they are kept as notices) and reset."""
        self.identity = self.link.identify()
        self.notices += [f"found in the error queue: {code} {text}" for code, text in self._drain()]
        self._test_compound()
        for message in self.dialect.reset:
            self.link.write(message)
            self._synchronise(10.0)
            self.notices += [f"{message}: {code} {text}" for code, text in self._drain()]

    def close(self) -> None:
        """Hang up."""
        self.link.close()

    def has(self, name: str) -> bool:
        """Whether the instrument knows the capability; asks it once."""
        return self._spelling(name) is not None

    def set(self, name: str, value: float | bool | str) -> Setting:
        """Set, drain the error queue, read back and compare. Raises ReportedError, SettingError."""
        spelling = self._required(name)
        message, asked = _render(spelling, value)
        self.link.write(message)
        self._synchronise(self.link.timeout_s)
        self.check_errors(message)
        setting = self._read_back(name, spelling, value, asked)
        self.settings = [s for s in self.settings if s.name != name] + [setting]
        return setting

    def get_number(self, name: str) -> float:
        """A number in SI units."""
        spelling = self._required(name)
        return to_float(self.link.query(spelling.get), self.link, spelling.get) / spelling.scale

    def get_bool(self, name: str) -> bool:
        """A Boolean, or one bit of a register."""
        spelling = self._required(name)
        return self.read_bool(spelling, self.link.query(spelling.get))

    def read_bool(self, spelling: Spelling, reply: str) -> bool:
        """What a reply to that spelling's query means."""
        if spelling.kind != "bit" and reply.upper() in (spelling.on.upper(), spelling.off.upper()):
            return reply.upper() == spelling.on.upper()
        number = round(to_float(reply, self.link, spelling.get))
        return bool(number >> spelling.bit & 1) if spelling.kind == "bit" else number != 0

    def check_errors(self, command: str) -> None:
        """Raise ReportedError for the first entry of the error queue, after emptying it."""
        errors = self._drain()
        if errors:
            code, text = errors[0]
            raise ReportedError(code, text, resource=self.link.resource, command=command)

    def reported(self) -> list[str]:
        """Empty the error queue and say what was in it."""
        return [f"{self.link.resource} reports {code} {text}".rstrip() for code, text in self._drain()]

    def spelling(self, name: str) -> Spelling:
        """The spelling in use. Raises ReplyError where the instrument does not know the capability."""
        return self._required(name)

    @property
    def compound(self) -> bool:
        """Whether several units may go in one message."""
        return self._compound

    def _required(self, name: str) -> Spelling:
        spelling = self._spelling(name)
        if spelling is None:
            tried = ", ".join(s.get or s.set for s in self.dialect.capabilities.get(name, ()))
            problem = f"knows no {name} (tried {tried or 'nothing'})"
            remedy = f"Name a dialect that spells {name}."
            raise ReplyError(problem, resource=self.link.resource, remedy=remedy)
        return spelling

    def _spelling(self, name: str) -> Spelling | None:
        if name not in self._chosen:
            candidates = self.dialect.capabilities.get(name, ())
            first = next((s for s in candidates if not s.get or name == "read" or self._knows(s.get)), None)
            self._chosen[name] = first
        return self._chosen[name]

    def _test_compound(self) -> None:
        """Whether two units in one message give two answers."""
        if self._compound and self._has_errors:
            reply = self._answers(f"*IDN?;{self.dialect.error_query}") or ""
            self._compound = reply.startswith(self.identity) and ";" in reply[len(self.identity) :]
            self._drain()

    def _knows(self, query: str) -> bool:
        """Whether a query is answered. An unknown one answers nothing: the error queue, asked with it, tells at once.

        An instrument that drops a whole message at its first bad unit stays silent; its queue is asked afterwards.
        """
        asks_errors = self._compound and self._has_errors
        reply = self._answers(f"{query};{self.dialect.error_query}" if asks_errors else query)
        errors = self._drain()
        if reply is None or errors or _ERROR_REPLY.match(reply) is not None:
            return False
        return not asks_errors or ";" in reply

    def _answers(self, query: str) -> str | None:
        try:
            return self.link.query(query, _PROBE_TIMEOUT_S)
        except LinkTimeout:
            return None

    def _read_back(self, name: str, spelling: Spelling, value: float | bool | str, asked: str) -> Setting:
        if not spelling.get:
            return Setting(name, asked, "", verified=False)
        reply = self.link.query(spelling.get)
        if not self._agrees(spelling, value, reply):
            raise SettingError(
                f"{name} was set to {asked} and reads back as {reply}",
                resource=self.link.resource,
                command=spelling.set,
                remedy="Choose a value that the instrument has.",
            )
        return Setting(name, asked, reply, verified=True)

    def _agrees(self, spelling: Spelling, value: float | bool | str, reply: str) -> bool:
        if spelling.kind == "text":
            return spelling.value.upper() in reply.upper()
        if spelling.kind == "bool":
            return self.read_bool(spelling, reply) == bool(value)
        wanted, got = float(value), to_float(reply, self.link, spelling.get) / spelling.scale
        if spelling.rounds_up:
            return wanted * (1 - _SET_TOLERANCE) <= got <= wanted * _ROUNDING
        return abs(got - wanted) <= _SET_TOLERANCE * abs(wanted)

    def _synchronise(self, timeout_s: float) -> None:
        if self.dialect.sync_query:
            self.link.query(self.dialect.sync_query, timeout_s)

    def _drain(self) -> list[tuple[int, str]]:
        """Empty the error queue; bounded, because some never empty."""
        found: list[tuple[int, str]] = []
        for _ in range(_DRAIN if self._has_errors else 0):
            try:
                reply = self.link.query(self.dialect.error_query)
            except LinkTimeout:
                self._has_errors = False
                self.notices.append("no error queue: settings are verified by readback only")
                break
            match = _ERROR.fullmatch(reply)
            if match is None:
                raise ReplyError(f"{reply!r} is no error entry", resource=self.link.resource, remedy="Use a dialect.")
            if int(match[1]) == 0:
                break
            found.append((int(match[1]), match[2] or ""))
        return found


def _render(spelling: Spelling, value: float | bool | str) -> tuple[str, str]:
    """The message that sets a value, and the value as it stands there."""
    if spelling.kind == "bool":
        text = spelling.on if value else spelling.off
    elif spelling.kind == "number":
        text = number_text(float(value) * spelling.scale)
    else:
        text = spelling.value
    return spelling.set.replace("{value}", text), text


def number_text(value: float) -> str:
    """Plain base units in NR3: the one form that every parser takes."""
    return f"{value:.8E}"
