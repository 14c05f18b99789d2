"""A simulated bench in a process of its own, whose output can be watched from outside.

    python -m tests.faults.guarded_instruments

First line out: the addresses. Each line in is answered by one of JSON: "?" the output's history [[time, on], ...], time
being the system's monotonic clock; "#" how many messages have come; "cut" hangs up on everyone; "late S" makes ON take
S seconds from now on; "panel ON" and "panel OFF" as a
hand would; "fresh" as at the start.
"""

from __future__ import annotations

import contextlib
import json
import socket
import sys
import threading
import time

from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.devices.faulty import Device
from sim.scenario import load_scenario
from sim.server import BenchServer


class WatchedSource:
    """A source whose output may execute late; `*OPC?` and whatever else comes waits for it."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self.clock, self.reply_end = device.clock, device.reply_end
        self._lock = threading.Lock()
        self.late_on_s = 0.0
        self.messages = 0
        self.history: list[tuple[float, bool]] = []

    def process(self, message: str) -> str | None:
        """As the source; the output's changes are noted."""
        with self._lock:
            self.messages += 1
            if message.upper().startswith(":OUTP ON") and self.late_on_s:
                time.sleep(self.late_on_s)
            reply = self._device.process(message)
            self.note()
            return reply

    def note(self) -> None:
        """What the output is now, where it has changed."""
        on = self._device.output_on  # type: ignore[attr-defined]
        if not self.history or self.history[-1][1] != on:
            self.history.append((time.monotonic(), on))


def main() -> None:
    """Serve until standard input ends."""
    bench = SimulatedBench(load_scenario("shunt"), ScaledClock())
    source = WatchedSource(bench.source)
    bench.source_faults = source  # type: ignore[assignment]
    server = BenchServer(bench)
    print(json.dumps({"source": server.source, "voltmeter": server.voltmeter}), flush=True)
    for line in sys.stdin:
        order, _, rest = line.strip().partition(" ")
        answer: object = "done"
        if order == "?":
            answer = source.history
        elif order == "#":
            answer = source.messages
        elif order == "late":
            source.late_on_s = float(rest)
        elif order == "cut":
            for one in server._servers:
                for client in list(one._clients):
                    with contextlib.suppress(OSError):
                        client.shutdown(socket.SHUT_RDWR)
        elif order == "panel":
            for message in (":SOUR:VOLT:LIM 1", f":OUTP {rest}"):
                source.process(message)
        elif order in ("off", "fresh"):
            source.late_on_s = 0.0
            source.process("*RST")
            source.history.clear()
            source.messages = 0
        print(json.dumps(answer), flush=True)
    server.close()


if __name__ == "__main__":
    main()
