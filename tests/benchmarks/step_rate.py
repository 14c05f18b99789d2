"""Reversal steps per second of the whole engine beside three loops that one would write by hand.

The instruments answer at once, in another process. The loops are interleaved and compared pair by pair, so that a slow
moment of the machine hits both. The engine does everything it does in a run: driver, compliance query, logbook on disk
with synchronous FULL, statistics, guardian.

    python -m tests.benchmarks.step_rate [ROUNDS]
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyvisa

from benchapp.bench.limits import HouseLimits
from benchapp.bench.plan import plan_bench
from benchapp.clock import ScaledClock
from benchapp.recipe import Recipe, StopRule
from benchapp.run.session import Session

_SECONDS = 1.5


def naive_loop(source: str, voltmeter: str, folder: Path) -> float:
    """PyVISA as it comes: write the level, ask *OPC? separately on the same source, read; Nagle's delay on."""
    return _visa_loop(source, voltmeter, _naive_step)


def best_visa_loop(source: str, voltmeter: str, folder: Path) -> float:
    """PyVISA at its best: level and *OPC? in one query, then READ?; no Nagle."""
    return _visa_loop(source, voltmeter, _best_step, no_delay=True)


def _naive_step(source: Any, voltmeter: Any, level: float) -> float:
    source.write(f":SOUR:CURR {level:.8E}")
    source.query("*OPC?")
    return float(voltmeter.query(":READ?"))


def _best_step(source: Any, voltmeter: Any, level: float) -> float:
    source.query(f":SOUR:CURR {level:.8E};*OPC?")
    return float(voltmeter.query(":READ?"))


def _visa_loop(
    source: str, voltmeter: str, step: Callable[[Any, Any, float], float], *, no_delay: bool = False
) -> float:
    manager = pyvisa.ResourceManager("@py")
    opened: list[Any] = [manager.open_resource(address) for address in (source, voltmeter)]
    for resource in opened:
        resource.read_termination = resource.write_termination = "\n"
        if no_delay:
            session = resource.visalib.sessions[resource.session]
            session.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    rate = _timed(lambda level: step(opened[0], opened[1], level))
    for resource in opened:
        resource.close()
    return rate


def socket_loop(source: str, voltmeter: str, folder: Path) -> float:
    """Bare blocking sockets."""
    sockets = []
    for address in (source, voltmeter):
        _, host, port, _ = address.split("::")
        sock = socket.create_connection((host, int(port)))
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sockets.append(sock)
    first, second = sockets

    def step(level: float) -> float:
        first.sendall(f":SOUR:CURR {level:.8E};*OPC?\n".encode("ascii"))
        first.recv(4096)
        second.sendall(b":READ?\n")
        return float(second.recv(4096))

    rate = _timed(step)
    for sock in sockets:
        sock.close()
    return rate


def _timed(step: Callable[[float], float]) -> float:
    count, start = 0, time.perf_counter()
    end = start + _SECONDS
    while time.perf_counter() < end:
        step(1e-3 if count % 2 else -1e-3)
        count += 1
    return count / (time.perf_counter() - start)


def engine(source: str, voltmeter: str, folder: Path, *, second: str = "", source_dialect: str = "scpi") -> float:
    """A run of the program; `second` measures the current."""
    recipe = Recipe(
        1e-3,
        nplc=0.001,
        settle_s=0.0,
        range_V=1.0,
        signs="+-",
        stop=StopRule(None, duration_s=_SECONDS),
        current_shunt_ohm=1.0 if second else None,
    )
    plan = plan_bench(source, voltmeter, source_dialect, current_voltmeter=second)
    session = Session(plan, recipe, HouseLimits(), clock=ScaledClock(), logbook=folder / "log.sqlite")
    session.start()
    session.wait()
    assert session.snapshot is not None
    assert session.end is not None
    if session.end.exit_status:
        raise RuntimeError(session.end.text)
    return session.snapshot.readings / session.snapshot.time_s


def fsync_ms(folder: Path) -> float:
    """Median time of one fsync of 4 KiB on the logbook's disk."""
    times = []
    with (folder / "probe").open("wb") as stream:
        for _ in range(50):
            stream.write(bytes(4096))
            stream.flush()
            start = time.perf_counter()
            os.fsync(stream.fileno())
            times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


_PEERS = {
    "(a) naive PyVISA loop, Nagle on": (naive_loop, 300.0),
    "(b) best bare PyVISA loop": (best_visa_loop, 1.5),
    "(c) bare blocking sockets": (socket_loop, 0.6),
}


def main(rounds: int) -> None:
    """Print rates and ratios."""
    command = [sys.executable, "-m", "tests.benchmarks.instant_instruments"]
    # On the disk of the working folder: /tmp may be memory, where fsync costs nothing.
    with (
        subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server,
        tempfile.TemporaryDirectory(dir=".") as name,
        contextlib.ExitStack() as stack,
    ):
        assert server.stdout is not None
        addresses = json.loads(server.stdout.readline())
        pair, folder = (addresses["source"], addresses["voltmeter"]), Path(name)
        stack.callback(server.terminate)  # also where a run ends in trouble
        engine(*pair, folder)
        print(f"one fsync on the logbook's disk: {fsync_ms(folder):.2f} ms")
        for label, (loop, goal) in _PEERS.items():
            ratios, rates, peers = [], [], []
            for _ in range(rounds):
                rates.append(engine(*pair, folder))
                peers.append(loop(*pair, folder))
                ratios.append(rates[-1] / peers[-1])
            print(
                f"steps/s: engine {statistics.median(rates):8.0f}, {label:<32} {statistics.median(peers):8.0f},"
                f" ratio {statistics.median(ratios):7.2f} (goal {goal:g})"
            )
        blind = folder_for_dialect(Path(name))
        second = addresses["current_voltmeter"]

        def plain() -> float:
            return engine(*pair, folder)

        own: dict[str, tuple[Callable[[], float], Callable[[], float], float]] = {
            "levels read back, over not": (plain, lambda: engine(*pair, folder, source_dialect=blind), 0.9),
            "current measured, over set": (lambda: engine(*pair, folder, second=second), plain, 0.6),
        }
        for label, (one, other, goal) in own.items():
            both = [(one(), other()) for _ in range(rounds)]
            ratio = statistics.median(a / b for a, b in both)
            print(f"steps/s: engine, {label:<32} ratio {ratio:7.2f} (goal {goal:g})")


def folder_for_dialect(folder: Path) -> str:
    """A source's dialect that believes its level without reading it back."""
    path = folder / "blind.toml"
    path.write_text(
        'kind = "source"\nextends = "scpi"\n'
        'cap.level = { set = ":SOUR:CURR {value}", get = ":SOUR:CURR?", verify = false }\n'
    )
    return str(path)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
