"""Starved is not hung: runs on one core that six busy programs share; then each is stopped, and must be off in time.

    python -m tests.faults.starvation [RUNS] [SECONDS]

A false stop is a run that ended by itself. Then the program is stopped (SIGSTOP), which only its missing beats tell.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until
from tests.trials import Result, run_trial

_HOGS = 6
_CORE = 0


def trial(seconds: float) -> tuple[bool, float]:
    """Whether the run was stopped without a cause, and how long the output stayed on after a real standstill."""
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with (
        BenchServer(sim) as server,
        tempfile.TemporaryDirectory() as folder,
        Victim(server.source, server.voltmeter, Path(folder)) as victim,
    ):
        wait_until(lambda: victim.streamed() >= 20)
        pids = [victim.process.pid, *victim.children()]
        hogs = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(_HOGS)]
        try:
            for pid in pids + [hog.pid for hog in hogs]:
                for task in Path(f"/proc/{pid}/task").iterdir():
                    os.sched_setaffinity(int(task.name), {_CORE})
            until = time.monotonic() + seconds
            while time.monotonic() < until and sim.source.output_on:
                time.sleep(0.1)
            if not sim.source.output_on:
                return True, 0.0
            os.kill(victim.process.pid, signal.SIGSTOP)
            return False, wait_until(lambda: not sim.source.output_on)
        finally:
            for hog in hogs:
                hog.kill()
                hog.wait()


def main() -> int:
    """Print the sums."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 30.0

    def case(_: int) -> Result:
        stopped, off_s = trial(seconds)
        return {"false_stop": stopped, "off_s": off_s}

    results = run_trial(f"starvation-{seconds:g}", runs, case)
    false_stops = sum(result["false_stop"] for result in results)
    slowest_s = max(result["off_s"] for result in results)
    print(f"{runs} runs of {seconds:g} s beside {_HOGS} hogs on one core: {false_stops} false stops;"
          f" off within {slowest_s:.2f} s of a standstill")  # fmt: skip
    return 1 if false_stops or slowest_s > 2.0 else 0


if __name__ == "__main__":
    sys.exit(main())
