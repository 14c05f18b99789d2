"""A dialect spoken over a link: probing of spellings, settings with readback, the error queue."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from drivers.completion import await_completion
from drivers.dialect import Dialect, Spelling
from drivers.error_queue import ErrorQueue
from drivers.errors import LinkTimeout, ReplyError, ReportedError, SettingError
from drivers.link import Link, to_float, to_whole
from drivers.values import agrees, number_of, place_of, value_text

_ERROR_REPLY = re.compile(r"\s*-[1-4]\d\d\s*,")  # an error reply in place of data
_NUMBER = re.compile(r"[+-]?\d+(\.\d*)?")
_PROBE_TIMEOUT_S = 0.6
_NOT_ASKED = ("read", "drain")  # to find out whether they are known: they take a reading, or there is none yet


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
        self._errors = ErrorQueue(link, dialect)
        self._chosen: dict[str, Spelling | None] = {}

    def open(self) -> None:
        """Identify, drain old errors (they are kept as notices) and reset."""
        self.identity = self.link.identify(self.dialect.identify) or f"{self.dialect.id}, which cannot be asked"
        self._check_identity()
        self.notices += [f"found in the error queue: {code} {text}" for code, text in self._drain()]
        self._test_compound()
        for message in self.dialect.reset:
            self.send(message)
            self._synchronise(10.0)
            self.notices += [f"{message}: {code} {text}" for code, text in self._drain()]

    def join(self, other: Instrument) -> None:
        """Take part in a connection that another role of the same instrument has opened."""
        self.identity = other.identity
        self._compound, self._errors = other._compound, other._errors

    def _check_identity(self) -> None:
        expected = self.dialect.identity
        if not self.identity.isprintable():
            raise ReplyError(
                f"{self.identity[:80]!r} is no identity",
                resource=self.link.resource,
                command=self.dialect.identify,
                remedy="Check the address and the settings of the line.",
            )
        if expected is not None and expected.find(self.identity) is None:
            raise ReplyError(
                f"this is {self.identity!r}, and the dialect {self.dialect.id} is for {expected.source!r}",
                resource=self.link.resource,
                command=self.dialect.identify,
                remedy="Name the dialect that fits, or check the address.",
            )

    def watch(self, on_wait: Callable[[], None]) -> None:
        """Let `on_wait` be called in every slice of a wait for an answer; it may raise to end the wait."""
        self.link.on_wait = on_wait

    def on_reopen(self, act: Callable[[], None]) -> None:
        """Let `act` be called after the connection was opened again."""
        self.link.on_reopen = act

    def close(self) -> None:
        """Hang up."""
        self.link.close()

    def has(self, name: str) -> bool:
        """Whether the instrument knows the capability; asks it once."""
        return self._spelling(name) is not None

    def set(self, name: str, value: float | bool | str) -> Setting:
        """Set, look for errors, read back and compare. Raises ReportedError, SettingError."""
        spelling = self._required(name)
        messages, asked = self._rendered(name, spelling, value)
        for message in messages:
            self.send(message)
        if spelling.settle_s:
            self.link.pause(spelling.settle_s)
        self._synchronise(self.link.timeout_s)
        self.check_errors(messages[-1])
        setting = self._read_back(name, spelling, value, asked, messages[-1])
        self.settings = [s for s in self.settings if s.name != name] + [setting]
        return setting

    def send(self, message: str) -> None:
        """One message; an instrument that acknowledges each one is heard."""
        self.link.write(message)
        if self.dialect.errors.acknowledges:
            self._refuse_error_reply(self.link.read(message), message)

    def get_number(self, name: str) -> float:
        """A number in SI units."""
        return self._number(self._required(name))

    def get_whole(self, name: str) -> int:
        """A count."""
        spelling = self._required(name)
        return to_whole(self.extract(spelling, self._asked(spelling)), self.link, spelling.get)

    def get_bool(self, name: str) -> bool:
        """A Boolean, or one bit of a register."""
        spelling = self._required(name)
        return self.read_bool(spelling, self._asked(spelling))

    def read_bool(self, spelling: Spelling, reply: str) -> bool:
        """What a reply to that spelling's query means."""
        reply = self.extract(spelling, reply)
        word = reply.upper()
        if spelling.kind != "bit" and word in (spelling.on.upper(), spelling.off.upper()):
            return word == spelling.on.upper()
        if word in (text.upper() for text in self.dialect.format.true):
            return True
        if word in (text.upper() for text in self.dialect.format.false):
            return False
        number = to_whole(reply, self.link, spelling.get)
        if spelling.kind != "bit":
            return number != 0
        return bool(number & spelling.mask) if spelling.mask else bool(number >> spelling.bit & 1)

    def extract(self, spelling: Spelling, reply: str) -> str:
        """The part of a reply that its pattern names. Raises ReportedError for an error reply, ReplyError."""
        self._refuse_error_reply(reply, spelling.get)
        if spelling.reply is None:
            return reply
        found = spelling.reply.find(reply)
        if found is None:
            raise ReplyError(
                f"{reply[:80]!r} is not of the form {spelling.reply.source!r}",
                resource=self.link.resource,
                command=spelling.get,
                remedy="Correct the reply in the dialect.",
            )
        return found

    def check_errors(self, command: str) -> None:
        """Raise ReportedError for the first error that the instrument knows of, after it was made to forget all."""
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
            command = tried.partition(",")[0]
            raise ReplyError(problem, resource=self.link.resource, command=command, remedy=remedy)
        return spelling

    def _spelling(self, name: str) -> Spelling | None:
        if name not in self._chosen:
            candidates = self.dialect.capabilities.get(name, ())
            first = next(
                (s for s in candidates if not s.get or name in _NOT_ASKED or "{" in s.get or self._knows(s.get)), None
            )
            self._chosen[name] = first
        return self._chosen[name]

    def _test_compound(self) -> None:
        """Whether two units in one message give two answers."""
        if self._compound and self.dialect.error_query:
            reply = self._answers(f"{self.dialect.identify};{self.dialect.error_query}") or ""
            self._compound = reply.startswith(self.identity) and ";" in reply[len(self.identity) :]
            self._drain()

    def _knows(self, query: str) -> bool:
        """Whether a query is answered. An unknown one answers nothing: the error queue, asked with it, tells at once.

        An instrument that drops a whole message at its first bad unit stays silent; its queue is asked afterwards.
        """
        asks_errors = self._compound and self._errors.there and bool(self.dialect.error_query)
        reply = self._answers(f"{query};{self.dialect.error_query}" if asks_errors else query)
        errors = self._drain()
        if reply is not None and not reply.isprintable():
            raise ReplyError(
                f"{reply[:80]!r} is no answer",
                resource=self.link.resource,
                command=query,
                remedy="Check the line; if the instrument does not know this, correct its dialect.",
            )
        if reply is None or errors or _ERROR_REPLY.match(reply) is not None or self._is_error(reply):
            return False
        return not asks_errors or ";" in reply

    def _is_error(self, reply: str) -> bool:
        errors = self.dialect.errors
        return errors.mode == "reply" and errors.reply is not None and errors.reply.find(reply) is not None

    def _answers(self, query: str) -> str | None:
        try:
            return self.link.query(query, _PROBE_TIMEOUT_S)
        except LinkTimeout:
            return None

    def _rendered(self, name: str, spelling: Spelling, value: float | bool | str) -> tuple[list[str], str]:
        """The messages that set a value, and the value as it stands there. Raises SettingError beyond its limits."""
        if not isinstance(value, bool | str) and not spelling.low <= value <= spelling.high:
            raise SettingError(
                f"{name} of {value:g} lies outside {spelling.low:g} to {spelling.high:g}, the limits in its dialect",
                resource=self.link.resource,
                command=spelling.set,
                remedy="Choose a value that the instrument has.",
            )
        if spelling.kind == "index" and not isinstance(value, bool | str):
            try:
                place_of(value, spelling)
            except ValueError:
                raise SettingError(
                    f"{name} of {value:g} has no place in the table of its dialect, {min(spelling.table):g} to"
                    f" {max(spelling.table):g}",
                    resource=self.link.resource,
                    command=spelling.set,
                    remedy="Choose a value that the instrument has, or complete the table.",
                ) from None
        if not spelling.settable:
            raise SettingError(
                f"{name} can be asked but not set", resource=self.link.resource, command=spelling.get,
                remedy="Name a dialect that can set it.",
            )  # fmt: skip
        if spelling.kind in ("bool", "bit") and spelling.on_set:
            message = spelling.on_set if value else spelling.off_set
            return [*spelling.before, message], spelling.on if value else spelling.off
        text = self.value_text(spelling, value)
        return [*spelling.before, spelling.set.replace("{value}", text)], text

    def value_text_of_number(self, value: float) -> str:
        """A number among several, as this instrument takes it."""
        return self.number_text(self.spelling("level") if self.has("level") else Spelling(), value)

    def number_text(self, spelling: Spelling, value: float) -> str:
        """A number in the instrument's unit and form."""
        return self.dialect.format.number(value * spelling.scale)

    def value_text(self, spelling: Spelling, value: float | bool | str) -> str:
        """A value as this instrument takes it."""
        return value_text(value, spelling, self.dialect.format)

    def _asked(self, spelling: Spelling) -> str:
        return self.link.query(spelling.get, spelling.timeout_s or None)

    def _number(self, spelling: Spelling) -> float:
        read = to_float(self.extract(spelling, self._asked(spelling)), self.link, spelling.get)
        return number_of(read, spelling)

    def _read_back(self, name: str, spelling: Spelling, value: float | bool | str, asked: str, message: str) -> Setting:
        if not spelling.get or not spelling.verify:
            return Setting(name, asked, "", verified=False)
        reply = self._asked(spelling)
        if not self._agrees(spelling, value, reply):
            raise SettingError(
                f"{name} was set to {asked} and reads back as {reply}",
                resource=self.link.resource,
                command=message,
                remedy="Choose a value that the instrument has.",
            )
        return Setting(name, asked, reply, verified=True)

    def _agrees(self, spelling: Spelling, value: float | bool | str, reply: str) -> bool:
        if spelling.kind == "text":
            return spelling.value.upper() in self.extract(spelling, reply).upper()
        if spelling.kind in ("bool", "bit"):
            return self.read_bool(spelling, reply) == bool(value)
        read = to_float(self.extract(spelling, reply), self.link, spelling.get)
        return agrees(float(value), read, spelling)

    def _synchronise(self, timeout_s: float) -> None:
        """Wait until what was sent has acted."""
        await_completion(self.link, self.dialect.sync, self.send, timeout_s)

    def _refuse_error_reply(self, reply: str, command: str) -> None:
        errors = self.dialect.errors
        if errors.mode == "reply" and errors.reply is not None and (code := errors.reply.find(reply)) is not None:
            number = to_whole(code, self.link, command) if _NUMBER.fullmatch(code) else 0
            raise ReportedError(number, reply, resource=self.link.resource, command=command)

    def _drain(self) -> list[tuple[int, str]]:
        """What it complains of; a queue that is not there is noted once."""
        was_there = self._errors.there
        found = self._errors.take()
        if was_there and not self._errors.there:
            self.notices.append("no error queue: settings are verified by readback only")
        return found
