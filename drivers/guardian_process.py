"""The guardian: a process of its own that switches the source off when the application cannot any more.

Run as `python -I -S guardian_process.py`, standard library only, so that it is ready in some 30 ms. Its orders come as
JSON lines on standard input: `arm` with all it needs to know, `beat` while the application lives, `disarm` once the
output is proved off. It acts on end of input, on the death of the application (its parent), and on a second without a
beat; first through the application's own socket, which it was handed, else by a connection of its own.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import signal
import socket
import sys
import threading
import time
from typing import Any

BEAT_TIMEOUT_S = 1.0
_LOOK_AGAIN_S = 1.5  # an ON that the instrument executes late is found within this time
_GIVE_UP_S = 120.0
_TICK_S = 0.02


class Connection:
    """Lines to and from the source, over a socket or through PyVISA."""

    def __init__(self, end: bytes) -> None:
        self._end = end
        self._buffer = b""

    def send(self, data: bytes) -> None:
        """Send all of it. Raises OSError."""
        raise NotImplementedError

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

    def _receive(self, timeout_s: float) -> bytes:
        self._socket.settimeout(timeout_s)
        return self._socket.recv(65536)


class VisaConnection(Connection):
    """For links that are no sockets; PyVISA was imported when the guardian was armed."""

    def __init__(self, address: str, end: bytes) -> None:
        super().__init__(end)
        import pyvisa

        self._pyvisa = pyvisa
        try:
            opened: Any = pyvisa.ResourceManager("@py").open_resource(address)
            self._resource = opened
            self._resource.read_termination = end.decode("ascii")
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


class Guardian:
    """Waits for a reason to act, then acts until the output is proved off."""

    def __init__(self, orders: queue.Queue[dict[str, Any] | None]) -> None:
        self._orders = orders
        self._plan: dict[str, Any] = {}
        self._sockets: list[socket.socket] = []

    def run(self) -> None:
        """Until disarmed, or until the output is off."""
        parent = os.getppid()
        last_beat = time.monotonic()
        while True:
            try:
                order = self._orders.get(timeout=_TICK_S)
            except queue.Empty:
                gone = os.name == "posix" and os.getppid() != parent
                if self._plan and (gone or time.monotonic() - last_beat > BEAT_TIMEOUT_S):
                    break
                continue
            if order is None or order["order"] == "disarm":
                if order is None and self._plan:
                    break
                return
            last_beat = time.monotonic()
            if order["order"] == "arm":
                self._arm(order)
            _say("ok")
        _say("acting")
        self._switch_off()

    def _arm(self, plan: dict[str, Any]) -> None:
        self._plan = plan
        if plan["fd"] is not None:
            self._sockets = [socket.socket(fileno=plan["fd"])]
        if plan["host"] is None:
            import pyvisa

            pyvisa.ResourceManager("@py")

    def _switch_off(self) -> None:
        """By the handed-on socket, else by connections of one's own, until it is off and stays off."""
        give_up = time.monotonic() + _GIVE_UP_S
        for sock in self._sockets:
            with contextlib.suppress(OSError):
                if self._keep_off(SocketConnection(sock, self._plan["end"].encode()), time.monotonic() + 1.0):
                    return
        while time.monotonic() < give_up:
            with contextlib.suppress(OSError):
                # Send at once and keep waiting: an instrument for one client serves us when it has noticed that the
                # other is dead, and every abandoned try would queue one more dead client before us.
                if self._keep_off(self._connect(), give_up):
                    return
            time.sleep(0.05)

    def _connect(self) -> Connection:
        end = self._plan["end"].encode()
        if self._plan["host"] is None:
            return VisaConnection(self._plan["address"], end)
        sock = socket.create_connection((self._plan["host"], self._plan["port"]), timeout=5.0)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return SocketConnection(sock, end)

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
        terminator = plan["terminator"]
        # A line feed first: half a message of the application may stand in the instrument's buffer.
        text = terminator + "".join(message + terminator for message in [*plan["safe"], plan["identify"]])
        connection.send(text.encode("ascii"))
        while (answer := connection.line(deadline)) is not None and answer != plan["identity"]:
            pass
        if answer is None or not plan["query"]:
            return False
        connection.send((plan["query"] + terminator).encode("ascii"))
        state = connection.line(deadline)
        return state is not None and state.upper() in plan["off"]


def _say(text: str) -> None:
    with contextlib.suppress(OSError):
        os.write(1, text.encode("ascii") + b"\n")


def _listen(orders: queue.Queue[dict[str, Any] | None]) -> None:
    for line in sys.stdin.buffer:
        orders.put(json.loads(line))
    orders.put(None)


def main() -> None:
    """Ignore what ends the application, say that we are there, guard."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    orders: queue.Queue[dict[str, Any] | None] = queue.Queue()
    threading.Thread(target=_listen, args=(orders,), daemon=True).start()
    _say("there")
    Guardian(orders).run()
    os._exit(0)


if __name__ == "__main__":
    main()
