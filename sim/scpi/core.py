"""What every instrument does: parse a message, run its units, keep the error queue and the status registers."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from sim.clock import Clock
from sim.scpi.errors import ErrorQueue, ScpiError, event_bit
from sim.scpi.headers import Command, spellings, split_units

_MAX_MESSAGE = 4096
_OPERATION_COMPLETE = 0x01


class ScpiDevice:
    """One instrument's parser and status model; a device adds its commands with `add`.

    A message runs unit by unit; a unit that fails queues its error and gives no reply, the others still run.
    """

    reply_end = "\n"

    def __init__(self, identity: str, clock: Clock, lock: threading.RLock) -> None:
        self._commands: dict[tuple[str, ...], Command] = {}
        self.clock = clock
        self.lock = lock
        self.errors = ErrorQueue()
        self.before_message: Callable[[], None] = lambda: None
        self._event_status = 0
        self._event_enable = 0
        self._service_enable = 0
        self.add("*IDN", query=lambda: identity)
        self.add("*RST", do=self.reset)
        self.add("*CLS", do=self._clear_status)
        self.add("*OPC", do=self._complete_later, query=self._complete)
        self.add("*WAI", do=self.wait_until_complete)
        self.add("*TST", query=lambda: "0")
        self.add("*ESR", query=self._read_event_status)
        self.add_register("*ESE", "_event_enable")
        self.add_register("*SRE", "_service_enable")
        self.add("*STB", query=lambda: str(self._status_byte()))
        self.add("SYSTem:ERRor[:NEXT]", query=self.errors.take)
        self.add("SYSTem:ERRor:COUNt", query=lambda: str(len(self.errors)))
        self.add("SYSTem:VERSion", query=lambda: "1999.0")

    # What a device overrides.

    def reset(self) -> None:
        """Settings as *RST leaves them."""

    def complete_at(self) -> float:
        """Bench time at which everything accepted so far is done."""
        return 0.0

    # What a device builds itself from.

    def add(
        self,
        pattern: str,
        *,
        do: Callable[[], None] | None = None,
        set_: Callable[[str], None] | None = None,
        query: Callable[[], str] | None = None,
        query_with: Callable[[str], str] | None = None,
        set_list: Callable[[Sequence[str]], None] | None = None,
        query_list: Callable[[Sequence[str]], str] | None = None,
    ) -> None:
        """Declare a header: an event (`do`), a setting of one parameter (`set_`), a query with or without one.

        `set_list` and `query_list` take any number of parameters.
        """

        def run_set(parameters: Sequence[str]) -> None:
            if do is not None:
                _expect(parameters, 0)
                do()
            elif set_ is not None:
                _expect(parameters, 1)
                set_(parameters[0])
            elif set_list is not None:
                set_list(parameters)

        def run_query(parameters: Sequence[str]) -> str:
            if query_list is not None:
                return query_list(parameters)
            if parameters and query_with is not None:
                _expect(parameters, 1)
                return query_with(parameters[0])
            _expect(parameters, 0)
            assert query is not None
            return query()

        settable, asked = do or set_ or set_list, query or query_list
        command = Command(run_set if settable else None, run_query if asked else None)
        for path in spellings(pattern):
            self._commands[path] = command

    def add_register(self, pattern: str, attribute: str) -> None:
        """Declare an eight-bit register that can be set and read."""

        def set_(text: str) -> None:
            if not text.isdigit():
                raise ScpiError(-104)
            if int(text) > 255:
                raise ScpiError(-222)
            setattr(self, attribute, int(text))

        self.add(pattern, set_=set_, query=lambda: str(getattr(self, attribute)))

    def wait_until_complete(self) -> None:
        """Let bench time pass until nothing is pending."""
        self.clock.sleep(self.complete_at() - self.clock.now())

    def raise_error(self, code: int) -> None:
        """Queue an error and set its bit in the event status register."""
        self.errors.put(code)
        self._event_status |= event_bit(code)

    # The parser.

    def process(self, message: str) -> str | None:
        """Run one message (without its terminator); the reply, or None where there is none."""
        if len(message) > _MAX_MESSAGE:
            self.raise_error(-363)
            return None
        self.before_message()
        replies: list[str] = []
        path: tuple[str, ...] = ()
        for unit in split_units(message):
            text = unit.strip()
            if not text:
                continue
            try:
                path, reply = self._run_unit(text, path)
            except ScpiError as error:
                self.raise_error(error.code)
                path = _path_of(text, path)
            else:
                if reply is not None:
                    replies.append(reply)
        return ";".join(replies) if replies else None

    def _run_unit(self, text: str, path: tuple[str, ...]) -> tuple[tuple[str, ...], str | None]:
        header, _, rest = text.partition(" ")
        is_query = header.endswith("?")
        nodes = _absolute(header.rstrip("?"), path)
        command = self._commands.get(nodes)
        action = None if command is None else command.query if is_query else command.set_
        if action is None:
            raise ScpiError(-113)
        parameters = [part.strip() for part in rest.split(",")] if rest.strip() else []
        reply = action(parameters)
        return (path if header.startswith("*") else nodes[:-1]), reply

    def _clear_status(self) -> None:
        self.errors.clear()
        self._event_status = 0

    def _complete_later(self) -> None:
        self.wait_until_complete()
        self._event_status |= _OPERATION_COMPLETE

    def _complete(self) -> str:
        self.wait_until_complete()
        return "1"

    def _read_event_status(self) -> str:
        value, self._event_status = self._event_status, 0
        return str(value)

    def _status_byte(self) -> int:
        # IEEE 488.2-1992, 11.2: bit 2 error queue (SCPI-99), 5 event status, 6 master summary.
        value = (0x04 if len(self.errors) else 0) | (0x20 if self._event_status & self._event_enable else 0)
        return value | (0x40 if value & self._service_enable else 0)


def _absolute(header: str, path: tuple[str, ...]) -> tuple[str, ...]:
    """The full path of a header: a leading colon starts at the root, otherwise the last header's path goes on."""
    if header.startswith("*"):
        return (header.upper(),)
    nodes = tuple(header.upper().lstrip(":").split(":"))
    return nodes if header.startswith(":") else path + nodes


def _path_of(text: str, path: tuple[str, ...]) -> tuple[str, ...]:
    header = text.partition(" ")[0].rstrip("?")
    return path if header.startswith("*") else _absolute(header, path)[:-1]


def _expect(parameters: Sequence[str], count: int) -> None:
    if len(parameters) > count:
        raise ScpiError(-108)
    if len(parameters) < count:
        raise ScpiError(-109)
