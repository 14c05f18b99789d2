"""The guardian: a process of its own that switches the source off when the application cannot any more.

Run as `python -I -S guardian_process.py`, standard library only, so that it is ready in some 30 ms. Its orders come as
JSON lines on standard input: `arm` with all it needs to know, `beat` while the application lives, `disarm` once the
output is proved off. Each order is answered with its number, so that an application that was late with a beat can tell
whether it is still trusted. The guardian acts on end of input, on the death of the application (its parent), and after
1.6 s without a beat; first through the application's own socket, which it was handed, else by a connection of its own.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import queue
import select
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

BEAT_TIMEOUT_S = 1.6  # off within 2 s of a death that nothing else tells; a starved machine is late, not dead
_LOOK_AGAIN_S = 1.5  # an ON that the instrument executes late is found within this time
_GIVE_UP_S = 120.0
_TICK_S = 0.02
_SILENCE_S = 0.15
_HANGS_UP_WITHIN_S = 0.5
_TAKEN = ("busy", "in use", "locked", "timeout", "refused")


class Connection:
    """Lines to and from the source, over a socket or through PyVISA."""

    def __init__(self, end: bytes) -> None:
        self._end = end
        self._buffer = b""

    def send(self, data: bytes) -> None:
        """Send all of it. Raises OSError."""
        raise NotImplementedError

    def close(self) -> None:
        """Hang up, where there is something to hang up."""

    def _receive(self, timeout_s: float) -> bytes:
        raise NotImplementedError

    def line(self, deadline: float) -> str | None:
        """The next answer, or None at the deadline. Raises OSError where the connection is gone."""
        while self._end not in self._buffer:
            left = deadline - time.monotonic()
            if left <= 0:
                return None
            with contextlib.suppress(TimeoutError):
                data = self._receive(min(left, 0.25))
                if not data:
                    raise ConnectionError("closed")
                self._buffer += data
        text, _, self._buffer = self._buffer.partition(self._end)
        return text.decode("latin-1").strip()


class SocketConnection(Connection):
    """A TCP socket, handed on or one's own."""

    def __init__(self, sock: socket.socket, end: bytes) -> None:
        super().__init__(end)
        self._socket = sock

    def send(self, data: bytes) -> None:
        """Send all of it. Raises OSError."""
        self._socket.settimeout(1.0)
        self._socket.sendall(data)

    def close(self) -> None:
        """Hang up; what was sent is still delivered."""
        self._socket.close()

    def _receive(self, timeout_s: float) -> bytes:
        self._socket.settimeout(timeout_s)
        return self._socket.recv(65536)


class VisaConnection(Connection):
    """For links that are no sockets; PyVISA was imported when the guardian was armed."""

    def __init__(self, address: str, library: str, end: bytes, set_up: Callable[[Any], None] | None = None) -> None:
        super().__init__(end)
        import pyvisa

        self._pyvisa = pyvisa
        try:
            opened: Any = pyvisa.ResourceManager(library).open_resource(address)
            self._resource = opened
            self._resource.read_termination = end.decode("ascii")
            if set_up is not None:
                set_up(opened)
        except Exception as error:  # whatever the library raises: there is no connection
            raise ConnectionError(str(error)) from error

    def send(self, data: bytes) -> None:
        """Send all of it. Raises OSError."""
        try:
            self._resource.write_raw(data)
        except Exception as error:
            raise ConnectionError(str(error)) from error

    def _receive(self, timeout_s: float) -> bytes:
        self._resource.timeout = max(1, round(timeout_s * 1000))
        try:
            return str(self._resource.read(encoding="latin-1")).encode("latin-1") + self._end
        except self._pyvisa.VisaIOError as error:
            raise TimeoutError from error
        except Exception as error:
            raise ConnectionError(str(error)) from error

    def close(self) -> None:
        """Hang up."""
        with contextlib.suppress(Exception):
            self._resource.close()


class Orders:
    """Lines from the application, without a thread where the system can wait for a pipe."""

    def __init__(self) -> None:
        self._buffer = b""
        self._queue: queue.Queue[bytes] | None = None
        if os.name != "posix":
            self._queue = queue.Queue()
            threading.Thread(target=self._read_on, args=(self._queue,), daemon=True).start()

    def _read_on(self, arrived: queue.Queue[bytes]) -> None:
        while data := os.read(0, 65536):
            arrived.put(data)
        arrived.put(b"")

    def take(self, timeout_s: float) -> list[dict[str, Any]] | None:
        """The orders that have come, none at the time-out; None once the application has closed its end."""
        if self._queue is not None:
            try:
                data = self._queue.get(timeout=timeout_s)
            except queue.Empty:
                return []
        else:
            if not select.select([0], [], [], timeout_s)[0]:
                return []
            data = os.read(0, 65536)
        if not data:
            return None
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        return [json.loads(line) for line in lines]


class Guardian:
    """Waits for a reason to act, then acts until the output is proved off."""

    def __init__(self, orders: Orders) -> None:
        self._orders = orders
        self._plan: dict[str, Any] = {}
        self._sockets: list[socket.socket] = []
        self._pattern: Any = None
        self._set_up_line: Callable[[Any], None] | None = None

    def run(self) -> None:
        """Until disarmed, or until the output is off."""
        parent = os.getppid()
        last_beat = time.monotonic()
        while True:
            # Orders first: where this process was starved itself, beats wait in the pipe, and the clock says nothing.
            orders = self._orders.take(_TICK_S)
            if orders is None and not self._plan:
                return
            gone = os.name == "posix" and os.getppid() != parent
            late = not orders and time.monotonic() - last_beat > BEAT_TIMEOUT_S
            if orders is None or (self._plan and (gone or late)):
                break
            for order in orders:
                if order["order"] == "disarm":
                    return
                last_beat = time.monotonic()
                fault = self._arm(order) if order["order"] == "arm" else ""
                _say(f"no {fault}" if fault else f"ok {order.get('number', 0)}")
        _say("acting")
        self._switch_off()

    def _arm(self, plan: dict[str, Any]) -> str:
        """Be ready to act; why that cannot be, else empty. All that is needed later is loaded and tried now."""
        try:
            if plan["reply"]:
                self._pattern = _load("pattern", plan["pattern_program"]).compile_pattern(plan["reply"])
            if plan["serial"]:
                line = _load("serial_line", plan["line_program"])
                self._set_up_line = lambda resource: line.set_up_line(resource, plan["serial"])
            if plan["host"] is None:
                try:
                    self._opened(plan).close()
                except ConnectionError as error:
                    # A link for one at a time is free for us once the application is dead.
                    if not any(word in str(error).lower() for word in _TAKEN):
                        raise
        except Exception as error:  # noqa: BLE001  whatever it is, the application must hear of it before output on
            return " ".join(str(error).split())[:300] or repr(error)
        if plan["fd"] is not None:
            self._sockets = [socket.socket(fileno=plan["fd"])]
        self._plan = plan
        return ""

    def _switch_off(self) -> None:
        """By the handed-on socket, else by connections of one's own, until it is off and stays off."""
        give_up = time.monotonic() + _GIVE_UP_S
        if self._kept_off(give_up) and self._plan["query"] and self._plan["mark"]:
            with contextlib.suppress(OSError):
                os.unlink(self._plan["mark"])

    def _kept_off(self, give_up: float) -> bool:
        for sock in self._sockets:
            with contextlib.suppress(OSError):
                if self._keep_off(SocketConnection(sock, self._plan["end"].encode()), time.monotonic() + 1.0):
                    return True
        while time.monotonic() < give_up:
            # Send at once and keep waiting: an instrument for one client serves us when it has noticed that the other
            # is dead, and every abandoned try would queue one more dead client before us.
            with contextlib.suppress(OSError), contextlib.closing(self._connect()) as connection:
                if self._keep_off(connection, give_up):
                    return True
            time.sleep(0.05)
        return False

    def _connect(self) -> Connection:
        end = self._plan["end"].encode()
        if self._plan["host"] is None:
            return self._opened(self._plan)
        sock = socket.create_connection((self._plan["host"], self._plan["port"]), timeout=5.0)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return SocketConnection(sock, end)

    def _opened(self, plan: dict[str, Any]) -> VisaConnection:
        return VisaConnection(plan["address"], plan["library"], plan["end"].encode(), self._set_up_line)

    def _keep_off(self, connection: Connection, first_answer_by: float) -> bool:
        """Switch off, and look again and again whether it is; True once it has stayed off for the time."""
        off_until = time.monotonic() + _LOOK_AGAIN_S
        proved = self._off(connection, first_answer_by)
        if not proved and not self._plan["query"]:
            return True  # nothing can be asked: the sequence was sent
        while time.monotonic() < off_until:
            time.sleep(0.05)
            proved = self._off(connection, time.monotonic() + 1.0)
        return proved

    def _off(self, connection: Connection, deadline: float) -> bool:
        """Send the safe sequence and read the state back; replies to others' questions are skipped."""
        plan = self._plan
        if plan["hangs_up"]:
            return self._off_by_exchanges(deadline)
        terminator = plan["terminator"]
        # A line feed first: half a message of the application may stand in the instrument's buffer.
        asks = [plan["identify"]] if plan["identify"] else []
        text = terminator + "".join(message + terminator for message in [*plan["safe"], *asks])
        connection.send(text.encode("ascii"))
        if not self._is_in_step(connection, deadline) or not plan["query"]:
            return False
        connection.send((plan["query"] + terminator).encode("ascii"))
        state = self._answer(connection, deadline)
        while state == plan["query"]:  # some send back what they get
            state = self._answer(connection, deadline)
        return state is not None and self._means_off(state)

    def _is_in_step(self, connection: Connection, deadline: float) -> bool:
        """Whether the next answer is ours: all before its identity, or all that came before a silence, is skipped."""
        if self._plan["identify"]:
            while (answer := self._answer(connection, deadline)) is not None and answer != self._plan["identity"]:
                pass
            return answer is not None
        while connection.line(time.monotonic() + _SILENCE_S) is not None:
            if time.monotonic() > deadline:
                return False
        return True

    def _off_by_exchanges(self, deadline: float) -> bool:
        """A connection for each message, as the instrument wants it; then a last one that asks."""
        plan = self._plan
        for message in plan["safe"]:
            with contextlib.closing(self._connect()) as connection:
                connection.send((message + plan["terminator"]).encode("ascii"))
                with contextlib.suppress(ConnectionError):
                    connection.line(time.monotonic() + _HANGS_UP_WITHIN_S)  # a quicker question would overtake it
        if not plan["query"]:
            return False
        with contextlib.closing(self._connect()) as connection:
            connection.send((plan["query"] + plan["terminator"]).encode("ascii"))
            state = self._answer(connection, deadline)
        return state is not None and self._means_off(state)

    def _answer(self, connection: Connection, deadline: float) -> str | None:
        line = connection.line(deadline)
        prompt = self._plan["prompt"]
        return line.removeprefix(prompt).strip() if line is not None and prompt else line

    def _means_off(self, reply: str) -> bool:
        """As the driver reads it: the part that the pattern names, a word or a number, or one bit of it."""
        word = reply if self._pattern is None else self._pattern.find(reply)
        if word is None:
            return False
        if self._plan["bit"] is None and word.upper() in self._plan["off"]:
            return True
        try:
            number = float(word)
        except ValueError:
            return False
        if not number.is_integer():
            return False
        value = int(number)
        if self._plan["bit"] is None:
            return value == 0
        return not value & (self._plan["mask"] or 1 << self._plan["bit"])


def _say(text: str) -> None:
    with contextlib.suppress(OSError):
        os.write(1, text.encode("ascii") + b"\n")


def _load(name: str, program: str) -> Any:
    """A module of the driver's, by its path: this program knows no package."""
    spec = importlib.util.spec_from_file_location(name, program)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses looks its module up there
    spec.loader.exec_module(module)
    return module


def main() -> None:
    """Ignore what ends the application, say that we are there, guard."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    orders = Orders()
    _say("there")
    Guardian(orders).run()
    os._exit(0)


if __name__ == "__main__":
    main()
