"""Four kinds of links in virtual time, below the program's own wires: socket, VISA library and clock are ours.

A fault strikes at one message of one instrument. Replies have their moment of arrival, so late is late, and a reply
that comes byte by byte does.
"""

from __future__ import annotations

import contextlib
import types
from collections import deque
from collections.abc import Iterator
from typing import Any
from unittest import mock

import pyvisa

import drivers.link
import drivers.wires
from sim.clock import VirtualClock
from sim.scpi.core import ScpiDevice

TRANSPORTS = {
    "socket": "TCPIP::127.0.0.{}::5025::SOCKET",
    "VXI-11": "TCPIP::127.0.0.{}::inst0::INSTR",
    "HiSLIP": "TCPIP::127.0.0.{}::hislip0::INSTR",
    "serial": "ASRL/dev/ttyUSB{}::INSTR",
}
_FAR = 1e9


class Line:
    """One instrument and what is on its way from it; `fault` strikes at message `at`, counted from 1."""

    def __init__(self, device: ScpiDevice, clock: VirtualClock, fault: str = "", at: int = 0) -> None:
        self._device, self._clock, self._fault, self._at = device, clock, fault, at
        self._arrivals: deque[tuple[float, bytes]] = deque()
        self.count = 0
        self.messages: list[str] = []
        self.connection = 0
        self.gone = False
        self.struck_s = _FAR

    def connect(self) -> int:
        """A new connection; its number. Raises ConnectionRefusedError."""
        if self.gone:
            raise ConnectionRefusedError(111, "Connection refused")
        self.connection += 1
        self._arrivals.clear()
        return self.connection

    def take_in(self, data: bytes) -> None:
        """Messages that were sent. Raises ConnectionResetError where the instrument hangs up at one."""
        for message in data.decode("ascii", "replace").splitlines():
            if message.strip():
                self._process(message.strip())

    def _process(self, message: str) -> None:
        self.count += 1
        self.messages.append(message)
        struck = self.count == self._at
        after = 0 < self._at <= self.count
        if struck:
            self.struck_s = self._clock.now()
        fault = self._fault if after else ""
        if fault in ("hangs up", "hangs up for good") and struck:
            self.gone = fault == "hangs up for good"
            self.connection += 1
            raise ConnectionResetError(104, "Connection reset by peer")
        if fault == "stalls" or (fault in ("drops one", "refuses") and struck):
            return
        if fault == "loses settings" and struck:
            self._device.reset()
        reply = self._device.process(message)
        if fault == "error" and struck:
            self._device.raise_error(-310)
        if reply is None or fault == "mute" or (fault == "mute once" and struck):
            return
        self._answer((reply + "\n").encode("latin-1"), fault if struck else "")

    def _answer(self, reply: bytes, fault: str) -> None:
        now = self._clock.now()
        if fault == "garbage":
            reply = b"\x7f?#~\n"
        elif fault == "no ASCII":
            reply = bytes(b | 0x80 for b in reply[:-1]) + b"\n"
        elif fault == "cut short":
            reply = reply[: max(1, len(reply) // 2)]
        elif fault == "not a number":
            reply = b"nan\n"
        elif fault == "huge":
            reply = b"9.9E37\n"
        elif fault == "another's":
            reply = b"1\n"
        elif fault == "empty":
            reply = b"\n"
        elif fault == "twice":
            reply *= 2
        elif fault == "long":
            reply = b"0" * 100_000 + b"\n"
        elif fault == "endless":
            for k in range(4000):
                self._arrivals.append((now + 0.01 * k, b"1" * 100))
            return
        elif fault == "byte by byte":
            for k, byte in enumerate(reply):
                self._arrivals.append((now + 0.4 * k, bytes((byte,))))
            return
        late = {"late": 0.7, "too late": 5.0}.get(fault, 0.0)
        self._arrivals.append((now + late, reply))

    def due(self) -> bytes:
        """All that has arrived."""
        data = b""
        while self._arrivals and self._arrivals[0][0] <= self._clock.now():
            data += self._arrivals.popleft()[1]
        return data

    def wait(self, seconds: float) -> None:
        """Until something arrives, or so long."""
        until = self._clock.now() + seconds
        first = self._arrivals[0][0] if self._arrivals else _FAR
        self._clock.sleep(min(until, max(first, self._clock.now())) - self._clock.now())

    def put_back(self, data: bytes) -> None:
        """What was not taken of what had arrived."""
        if data:
            self._arrivals.appendleft((self._clock.now(), data))

    def clear(self) -> None:
        """What has arrived is dropped; what is on its way comes."""
        self.due()


class _Time:
    """The program's clock; a look at it takes a moment, or what waits by looking would wait for ever."""

    def __init__(self, clock: VirtualClock) -> None:
        self._clock = clock
        self.sleep = clock.sleep

    def monotonic(self) -> float:
        self._clock.sleep(2e-6)
        return self._clock.now()

    perf_counter = monotonic


class _Socket:
    def __init__(self, line: Line) -> None:
        self._line, self._connection = line, line.connect()

    def send(self, data: bytes) -> int:
        self._alive()
        self._line.take_in(data)
        return len(data)

    def recv(self, count: int) -> bytes:
        if self._connection != self._line.connection:
            return b""
        data = self._line.due()
        self._line.put_back(data[count:])
        data = data[:count]
        if not data:
            raise BlockingIOError
        return data

    def _alive(self) -> None:
        if self._connection != self._line.connection:
            raise BrokenPipeError(32, "Broken pipe")

    def poll(self, milliseconds: float) -> None:
        self._line.wait(milliseconds / 1000)

    def fileno(self) -> int:
        return -1

    def nothing(self, *_: object) -> None:
        """Options, shutting down: without consequence here."""

    setsockopt = setblocking = register = shutdown = close = nothing


class _Resource:
    """A VISA resource as PyVISA's own backend gives one, with the errors that it raises."""

    def __init__(self, line: Line, transport: str) -> None:
        self._line, self._transport = line, transport
        try:
            self._connection = line.connect()
        except ConnectionRefusedError as error:
            raise self._error("cannot be opened") from error
        self.timeout = 2000
        self.session = 1
        self.visalib = self
        self.write_termination = self.read_termination = ""

    @contextlib.contextmanager
    def ignore_warning(self, *_: object) -> Iterator[None]:
        yield

    def write_raw(self, data: bytes) -> None:
        self._alive()
        try:
            self._line.take_in(data)
        except ConnectionResetError as error:
            if self._transport != "serial":
                raise self._error("dropped") from error
            self._line.gone = False  # a line that is pulled and put back

    def read(self, _session: int, count: int) -> tuple[bytes, Any]:
        self._alive()
        data = self._line.due()
        if not data:
            self._line.wait(self.timeout / 1000)
            data = self._line.due()
        if not data:
            raise pyvisa.VisaIOError(pyvisa.constants.StatusCode.error_timeout)
        if self._transport != "serial":  # a message at a time
            message, end, rest = data.partition(b"\n")
            data, more = message + end, rest
            self._line.put_back(more)
        self._line.put_back(data[count:])
        codes = pyvisa.constants.StatusCode
        return data[:count], codes.success_max_count_read if len(data) > count else codes.success

    def clear(self) -> None:
        self._alive()
        self._line.clear()

    def close(self) -> None:
        """Nothing is held."""

    def _alive(self) -> None:
        if self._connection != self._line.connection and self._transport != "serial":
            raise self._error("dropped")

    def _error(self, what: str) -> Exception:
        if self._transport == "HiSLIP":
            return RuntimeError(f"Connection was {what} by server.")
        if self._transport == "VXI-11":
            return EOFError(what)
        return OSError(5, f"Input/output error: {what}")


@contextlib.contextmanager
def virtual_links(clock: VirtualClock, lines: dict[str, Line], transport: str) -> Iterator[None]:
    """Within it, addresses lead to `lines` and the wires' time is the clock's."""
    time = _Time(clock)
    by_host = {drivers.wires.host_and_port(address): line for address, line in lines.items()}
    last: list[_Socket] = []

    def connect(target: tuple[str, int], timeout: float) -> _Socket:
        last.append(_Socket(by_host[target]))
        return last[-1]

    class _Manager:
        def __init__(self, _library: str) -> None:
            pass

        def open_resource(self, address: str) -> _Resource:
            return _Resource(lines[address], transport)

    def poll() -> _Socket:
        return last[-1]

    sockets = types.SimpleNamespace(create_connection=connect, IPPROTO_TCP=6, TCP_NODELAY=1, SHUT_RDWR=2)
    selecting = types.SimpleNamespace(poll=poll, POLLIN=1, select=lambda *_: None)
    with (
        mock.patch.object(drivers.wires, "time", time),
        mock.patch.object(drivers.link, "time", time),
        mock.patch.object(drivers.wires, "socket", sockets),
        mock.patch.object(drivers.wires, "select", selecting),
        mock.patch.object(pyvisa, "ResourceManager", _Manager),
    ):
        yield
