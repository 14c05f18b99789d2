"""A source and a voltmeter in a process of their own, whose output can be watched from outside.

    python -m tests.faults.guarded_instruments [--one-client] [--late-on SECONDS]

First line out: the addresses. Then each line in is answered with the output's history: [[time, on], ...], where time is
the system's monotonic clock.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import socket
import sys
import threading
import time

from tests.benchmarks.instant_instruments import InstantInstrument, instant_pair


class WatchedSource:
    """An instant source whose output executes late where that is wanted; `*OPC?` waits for it."""

    def __init__(self, instrument: InstantInstrument, late_on_s: float) -> None:
        self._instrument = instrument
        self._late_on_s = late_on_s
        self._lock = threading.Lock()
        self.history: list[tuple[float, bool]] = []

    def process(self, message: str) -> str:
        """As the instrument, but the output is set when its time has come."""
        with self._lock:
            if message.upper().startswith(":OUTP ON") and self._late_on_s:
                time.sleep(self._late_on_s)
            reply = self._instrument.process(message)
            on = self._instrument.process(":OUTP?") == "1"
            if not self.history or self.history[-1][1] != on:
                self.history.append((time.monotonic(), on))
            return reply


def _serve(listener: socket.socket, instrument: WatchedSource | InstantInstrument, *, one_client: bool) -> None:
    while True:
        connection, _ = listener.accept()
        if one_client:
            _answer(connection, instrument)
        else:
            threading.Thread(target=_answer, args=(connection, instrument), daemon=True).start()


def _answer(connection: socket.socket, instrument: WatchedSource | InstantInstrument) -> None:
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    rest = b""
    with contextlib.suppress(OSError), connection:
        while data := connection.recv(65536):
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                reply = instrument.process(line.decode("ascii", "replace").strip()) if line.strip() else ""
                if reply:
                    connection.sendall(reply.encode("ascii") + b"\n")


def main() -> None:
    """Serve until standard input ends."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--one-client", action="store_true")
    parser.add_argument("--late-on", type=float, default=0.0)
    options = parser.parse_args()
    plain, voltmeter = instant_pair()
    source = WatchedSource(plain, options.late_on)
    addresses = {}
    for role, instrument in (("source", source), ("voltmeter", voltmeter)):
        listener = socket.create_server(("127.0.0.1", 0))
        addresses[role] = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
        arguments = {"one_client": options.one_client}
        threading.Thread(target=_serve, args=(listener, instrument), kwargs=arguments, daemon=True).start()
    print(json.dumps(addresses), flush=True)
    for _ in sys.stdin:
        print(json.dumps(source.history), flush=True)


if __name__ == "__main__":
    main()
