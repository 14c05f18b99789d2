"""Wires: how bytes get to an instrument. SOCKET addresses by own framing, all others through PyVISA."""

from __future__ import annotations

import contextlib
import os
import re
import select
import socket
import time
import warnings
from collections.abc import Callable
from typing import Any, Protocol

from drivers.dialect.pattern import LONGEST_REPLY
from drivers.errors import AddressError, LinkClosed, LinkRefused, ReplyError
from drivers.plain import shortened
from drivers.serial_line import set_up_line

_SOCKET_ADDRESS = re.compile(r"TCPIP\d*::([^:]+|\[[0-9a-f:]+\])::(\d+)::SOCKET", re.IGNORECASE)
_CONNECT_TIMEOUT_S = 5.0
_SPIN_S = 150e-6
_MOST_STALE_READS = 16


class Wire(Protocol):
    """A connection that carries terminated messages."""

    def send(self, data: bytes) -> None:
        """Send bytes, terminators included."""

    def receive(self, timeout_s: float) -> bytes:
        """The next reply without its terminator. Raises TimeoutError."""

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        """The next `count` bytes, whatever they are. Raises TimeoutError."""

    def clear(self) -> None:
        """Drop what has arrived and was not read."""

    def sleep(self, seconds: float) -> None:
        """Let time pass: that of the instrument, which may be a simulated one."""

    def close(self) -> None:
        """Hang up."""


_LONGEST_ADDRESS = 300


def check_address(address: str) -> None:
    """Raise AddressError where `address` is no VISA resource string; nothing is opened."""
    if not (address.isprintable() and len(address) <= _LONGEST_ADDRESS):
        raise _no_address(address)
    match = _SOCKET_ADDRESS.fullmatch(address.strip())
    if match is None:
        from pyvisa.rname import InvalidResourceName, ResourceName

        try:
            ResourceName.from_string(address)
        except (InvalidResourceName, ValueError) as error:
            raise _no_address(address) from error
        return
    if not 0 < int(match[2]) < 65536:
        raise AddressError(f"{address!r}: port {match[2]} does not exist. Write TCPIP::host::port::SOCKET")
    try:
        match[1].strip("[]").encode("idna")
    except UnicodeError as error:
        raise AddressError(f"{address!r}: {match[1]!r} is no name of a host. Write its name or number") from error


def _no_address(address: str) -> AddressError:
    example = "TCPIP::192.168.0.5::5025::SOCKET"
    return AddressError(f"{shortened(address)!r} is no VISA resource string. Write for example {example}")


def host_and_port(address: str) -> tuple[str, int] | None:
    """Where a SOCKET address leads; None for any other."""
    match = _SOCKET_ADDRESS.fullmatch(address.strip())
    return None if match is None else (match[1].strip("[]"), int(match[2]))


def open_wire(address: str, read_termination: bytes = b"\n", serial: dict[str, int] | None = None) -> Wire:
    """Connect to a VISA resource string; `serial` are settings of a serial line. Raises AddressError, LinkRefused."""
    check_address(address)
    target = host_and_port(address)
    if target is not None:
        return SocketWire(*target, address, read_termination)
    return VisaWire(address, read_termination, serial or {})


def _too_long(address: str) -> ReplyError:
    remedy = "Check the settings of the line and the line end in the dialect; switch the instrument off and on."
    return ReplyError(f"more than {LONGEST_REPLY // 1024} kB came without an end", resource=address, remedy=remedy)


class SocketWire:
    """A raw TCP socket without Nagle's delay, which costs 40 ms a step where a write is followed by a query."""

    def __init__(self, host: str, port: int, address: str, read_termination: bytes) -> None:
        try:
            self._socket = socket.create_connection((host, port), timeout=_CONNECT_TIMEOUT_S)
        except OSError as error:
            remedy = "Check that the instrument is on and that host and port are right."
            raise LinkRefused(
                f"cannot be reached ({error.strerror or error})", resource=address, remedy=remedy
            ) from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.setblocking(False)
        # Windows has no poll.
        self._poll = select.poll() if hasattr(select, "poll") else None
        if self._poll is not None:
            self._poll.register(self._socket, select.POLLIN)
        self._address = address
        self._end = read_termination
        self._buffer = b""

    def send(self, data: bytes) -> None:
        """Send all of it."""
        try:
            sent = self._socket.send(data)
            while sent < len(data):
                select.select([], [self._socket], [], _CONNECT_TIMEOUT_S)
                sent += self._socket.send(data[sent:])
        except OSError as error:
            raise self._closed(str(error)) from error

    def receive(self, timeout_s: float) -> bytes:
        """Up to the next terminator; what has come of it is kept for the next call."""
        if self._end not in self._buffer:
            self._fill(lambda: self._end in self._buffer, timeout_s)
        line, _, self._buffer = self._buffer.partition(self._end)
        if len(line) > LONGEST_REPLY:
            raise _too_long(self._address)
        return line

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        """So many bytes, terminators among them."""
        self._fill(lambda: len(self._buffer) >= count, timeout_s)
        data, self._buffer = self._buffer[:count], self._buffer[count:]
        return data

    def _fill(self, enough: Callable[[], bool], timeout_s: float) -> None:
        """Until there is enough, by one absolute deadline: a byte now and then does not stretch it."""
        deadline = time.monotonic() + timeout_s
        while not enough():
            if len(self._buffer) > LONGEST_REPLY:
                self._buffer = b""
                raise _too_long(self._address)
            data = self._arrived()
            left = deadline - time.monotonic()
            if left <= 0 and not data:
                raise TimeoutError
            self._buffer += data or self._waited_for(left)
            if time.monotonic() > deadline and not enough():
                raise TimeoutError

    def _arrived(self) -> bytes:
        """What comes within a moment, looked for again and again: to sleep and wake costs more than a quick answer."""
        until = time.perf_counter() + _SPIN_S
        while not (data := self._read()):
            if time.perf_counter() > until:
                return b""
        return data

    def _waited_for(self, timeout_s: float) -> bytes:
        """What comes within the time-out. Raises TimeoutError."""
        if self._poll is not None:
            self._poll.poll(timeout_s * 1000)
        else:
            select.select([self._socket], [], [], timeout_s)
        data = self._read()
        if not data:
            raise TimeoutError
        return data

    def _read(self) -> bytes:
        """What has arrived; empty where nothing has."""
        try:
            data = self._socket.recv(65536)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise self._closed(str(error)) from error
        if not data:
            raise self._closed("end of stream")
        return data

    def clear(self) -> None:
        """Read away what waits."""
        self._buffer = b""
        for _ in range(_MOST_STALE_READS):
            if not self._read():
                return
        raise _too_long(self._address)

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def fileno(self) -> int:
        """The socket's number, to hand it on."""
        return self._socket.fileno()

    def close(self) -> None:
        """Hang up; shut down first, because a socket that was handed on stays open otherwise."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def _closed(self, why: str) -> LinkClosed:
        remedy = "Check cable and power; the instrument may also allow one connection only."
        return LinkClosed(f"the connection broke ({why})", resource=self._address, remedy=remedy)


def list_addresses() -> tuple[list[str], list[str]]:
    """Addresses that VISA libraries find on this machine, and what could not be asked. Raw sockets are never found."""
    import pyvisa

    found: list[str] = []
    notes: list[str] = []
    for library in {visa_library("TCPIP"), visa_library("USB")}:
        try:
            with warnings.catch_warnings(record=True) as told:
                warnings.simplefilter("always")
                found += pyvisa.ResourceManager(library).list_resources("?*")
            notes += [str(warning.message) for warning in told]
        except (pyvisa.Error, OSError, ValueError) as error:
            notes.append(f"VISA library {library}: {error}")
    return sorted(set(found)), notes


def visa_library(address: str) -> str:
    """Which VISA library opens an address: that in $BENCHAPP_VISA; else our own for LAN and serial; else the machine's.

    USB and GPIB need the machine's library; without one PyVISA's own backend says what is missing.
    """
    chosen = os.environ.get("BENCHAPP_VISA")
    if chosen:
        return chosen
    if not re.match(r"(USB|GPIB|PXI|VXI)", address, re.IGNORECASE):
        return "@py"
    from pyvisa.ctwrapper.highlevel import IVIVisaLibrary

    return "@ivi" if IVIVisaLibrary.get_library_paths() else "@py"


class VisaWire:
    """Any other VISA resource, through PyVISA; loaded on first use."""

    def __init__(self, address: str, read_termination: bytes, serial: dict[str, int]) -> None:
        import pyvisa

        # Each library and protocol raises its own: RuntimeError, EOFError and bare Exceptions among them.
        self._errors = (Exception,)
        self._visa_io_error = pyvisa.VisaIOError
        self._timeout_code = pyvisa.constants.StatusCode.error_timeout
        self._address = address
        self._end = read_termination
        self._buffer = b""
        # A serial line delivers byte by byte, and what came before a time-out would be lost with it. The other links
        # deliver whole messages.
        self._serial = address.strip().upper().startswith("ASRL")
        try:
            opened: Any = pyvisa.ResourceManager(visa_library(address)).open_resource(address)
            self._resource = opened
            self._resource.write_termination = ""
            self._resource.read_termination = read_termination.decode("ascii")
            if self._serial:
                set_up_line(opened, serial)
            self._more = pyvisa.constants.StatusCode.success_max_count_read
        except self._errors as error:
            remedy = "Check the address, and that the library for this kind of link is installed."
            raise LinkRefused(f"cannot be opened ({error})", resource=address, remedy=remedy) from error

    def send(self, data: bytes) -> None:
        """Send all of it."""
        try:
            self._resource.write_raw(data)
        except self._errors as error:
            raise self._closed(error) from error

    def receive(self, timeout_s: float) -> bytes:
        """Up to the next terminator; an empty reply counts as none."""
        deadline = time.monotonic() + timeout_s
        while self._end not in self._buffer:
            data, whole = self._some(1 if self._serial else LONGEST_REPLY, deadline)
            self._buffer += data
            if whole and not self._serial:
                break
            if len(self._buffer) >= LONGEST_REPLY:
                self._buffer = b""
                raise _too_long(self._address)
        line, _, self._buffer = self._buffer.partition(self._end)
        if not line:
            raise TimeoutError
        return line

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        """So many bytes, terminators among them."""
        deadline = time.monotonic() + timeout_s
        while len(self._buffer) < count:
            self._buffer += self._some(1 if self._serial else count - len(self._buffer), deadline)[0]
        data, self._buffer = self._buffer[:count], self._buffer[count:]
        return data

    def _some(self, count: int, deadline: float) -> tuple[bytes, bool]:
        """What the link delivers at once, and whether the message ends with it. Raises TimeoutError."""
        left = deadline - time.monotonic()
        if left <= 0:
            raise TimeoutError
        self._resource.timeout = max(1, round(left * 1000))
        try:
            with self._resource.ignore_warning(self._more):
                data, status = self._resource.visalib.read(self._resource.session, count)
        except self._errors as error:
            if isinstance(error, self._visa_io_error) and error.error_code == self._timeout_code:
                raise TimeoutError from error
            raise self._closed(error) from error
        return bytes(data), status != self._more

    def status_byte(self) -> int:
        """By serial poll."""
        try:
            return int(self._resource.read_stb())
        except self._errors as error:
            raise self._closed(error) from error

    def clear(self) -> None:
        """Device clear, where the link has it."""
        self._buffer = b""
        try:
            self._resource.clear()
        except self._errors as error:
            raise self._closed(error) from error

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def close(self) -> None:
        """Hang up."""
        with contextlib.suppress(*self._errors):
            self._resource.close()

    def _closed(self, error: Exception) -> LinkClosed:
        return LinkClosed(f"the link failed ({error})", resource=self._address, remedy="Check cable and power.")
