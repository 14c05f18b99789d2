"""What a window costs the run beside it, and how soon Esc acts.

python -m tests.benchmarks.window_runs [reversals|irregular|escape]
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchapp.logbook.query import list_runs, load_run
from tests.benchmarks.step_rate import engine
from tests.benchmarks.window import _instruments, _make_window, _start_run, _wait

_ROUNDS = 5
_RUN_S = 6.0
_IRREGULAR_S = 60.0
_ESCAPES = 100


def reversals() -> None:
    """p99 of the time from one reversal to the next, with the window open over the engine alone."""
    process, addresses = _instruments()
    beside, alone = [], []
    for _ in range(_ROUNDS):
        with tempfile.TemporaryDirectory(dir=".") as name:
            engine(addresses["source"], addresses["voltmeter"], Path(name))
            alone.append(_p99(next(Path(name).glob("*.sqlite"))))
        with tempfile.TemporaryDirectory(dir=".") as name:
            window = _make_window(Path(name))
            _start_run(window, addresses)
            _wait(_RUN_S)
            window._controller.stop()
            _wait(1.0)
            window.close()
            beside.append(_p99(Path(name) / "log.sqlite"))
    process.kill()
    process.communicate()
    ratio = statistics.median(b / a for b, a in zip(beside, alone, strict=True))
    print(
        f"time between reversals, p99: {statistics.median(beside) * 1e6:.0f} µs with the window open,"
        f" {statistics.median(alone) * 1e6:.0f} µs alone, ratio {ratio:.2f} (goal 2)",
        flush=True,
    )


def _p99(logbook: Path) -> float:
    """Of the readings' times of the last run of a logbook, less its first half second."""
    columns = load_run(logbook, list_runs(logbook)[-1].run_id).readings
    t, I = np.array(columns.time_s), np.array(columns.current_A)
    at = t[1:][np.diff(I) != 0]
    at = at[at > at[0] + 0.5] if at[-1] - at[0] > 1.0 else at
    return float(np.quantile(np.diff(at), 0.99))


def irregular() -> None:
    """Steps a second at the end of a minute of irregular signs over those at its start."""
    generator = np.random.default_rng(7)
    signs = "".join("+-"[int(k)] for k in generator.integers(0, 2, 997))
    process, addresses = _instruments()
    with tempfile.TemporaryDirectory(dir=".") as name:
        window = _make_window(Path(name))
        _start_run(window, addresses, signs=signs)
        _wait(2.0)
        rates = []
        for wait_s in (5.0, _IRREGULAR_S - 12.0, 5.0):
            before, start = _count(window), time.perf_counter()
            _wait(wait_s)
            rates.append((_count(window) - before) / (time.perf_counter() - start))
        count = _count(window)
        window._controller.stop()
        _wait(2.0)
        window.close()
    process.kill()
    process.communicate()
    print(
        f"irregular signs, {_IRREGULAR_S:.0f} s, {count} readings: {rates[0]:.0f} a second at first, {rates[2]:.0f} at"
        f" the end, ratio {rates[2] / rates[0]:.2f} (goal 0.95)",
        flush=True,
    )


def _count(window: Any) -> int:
    return int(window._controller.session.history.readings.count)


def escape() -> None:
    """From the key to the source's own output going off, over runs at a steady pace."""
    from benchapp.host.order import BenchChoice
    from sim.bench import SimulatedBench
    from sim.clock import ScaledClock
    from sim.scenario import load_scenario
    from sim.server import BenchServer

    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(1.0))
    took: list[float] = []
    with BenchServer(sim) as server, tempfile.TemporaryDirectory(dir=".") as name:
        window = _make_window(Path(name))
        window.bench.choose(BenchChoice("", server.source, server.voltmeter))
        window.recipe.take({"current": "1 A", "range": "10 mV", "nplc": "0.1", "settle": "5 ms", "endless": "true"})
        for _ in range(_ESCAPES):
            window.measure.show_idle()
            window.measure.start()
            while not sim.source.output_on:
                _wait(0.02)
            _wait(0.3)
            start = time.perf_counter()
            window._escape()  # what the key does; without a window manager no window has the keyboard
            while sim.source.output_on:
                _wait(0.001)
            took.append(1e3 * (time.perf_counter() - start))
            while window._controller.running:
                _wait(0.02)
        window.close()
    p99 = statistics.quantiles(took, n=100)[98]
    print(
        f"Esc to output off, {_ESCAPES} runs of 1 A: median {statistics.median(took):.0f} ms, p99 {p99:.0f} ms"
        " (goal 50 and the instrument's own time: one reading, 7 ms here)",
        flush=True,
    )


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["reversals", "irregular", "escape"]
    for name in wanted:
        {"reversals": reversals, "irregular": irregular, "escape": escape}[name]()
