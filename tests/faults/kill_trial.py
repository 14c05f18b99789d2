"""Two hundred deaths of the application, against instruments in another process: is the output off, is all there?

python -m tests.faults.kill_trial [PARTS]      PARTS scales the number of trials a case (1)
"""

from __future__ import annotations

import json
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchapp.errors import BenchError
from benchapp.logbook.query import list_runs
from tests.faults.victim import Victim, wait_until

_DICE = random.Random(20261126)
_WATCH_S = 2.2


class Instruments:
    """The instrument process; a context manager."""

    def __init__(self, *options: str) -> None:
        command = [sys.executable, "-m", "tests.faults.guarded_instruments", *options]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        assert self._process.stdout is not None
        self.addresses: dict[str, str] = json.loads(self._process.stdout.readline())

    def __enter__(self) -> Instruments:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.communicate()

    def history(self) -> list[tuple[float, bool]]:
        """When the output changed, and to what."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("?\n")
        return [(when, on) for when, on in json.loads(self._process.stdout.readline())]

    @property
    def on(self) -> bool:
        """Whether the output is on."""
        history = self.history()
        return bool(history) and history[-1][1]


@dataclass(frozen=True, slots=True)
class Outcome:
    """One trial: off after that time (None: it was not on afterwards), still on at the end, readings lost."""

    off_after_s: float | None
    left_on: bool
    lost: int


Blow = Callable[[Victim, Instruments], None]


def trial(options: list[str], wait: Blow, blow: Blow) -> Outcome:
    """Start, wait for the moment, strike, watch."""
    with tempfile.TemporaryDirectory(dir=".") as folder, Instruments(*options) as instruments:
        pair = instruments.addresses
        with Victim(pair["source"], pair["voltmeter"], Path(folder)) as victim:
            wait(victim, instruments)
            struck = time.monotonic()
            blow(victim, instruments)
            time.sleep(_WATCH_S)
            history = instruments.history()
            on_after = [when for when, on in history if on and when > struck]
            was_on = bool(on_after) or any(on for when, on in [h for h in history if h[0] <= struck][-1:])
            off = history[-1][0] - struck if history and not history[-1][1] and history[-1][0] > struck else None
            left_on = bool(history) and history[-1][1]
            streamed = victim.streamed()
            try:
                recorded = sum(run.readings for run in list_runs(victim.logbook))
            except BenchError:
                recorded = 0
            return Outcome(off if was_on else None, left_on, max(0, streamed - recorded))


def _running(victim: Victim, instruments: Instruments) -> None:
    wait_until(lambda: victim.streamed() > 30)
    time.sleep(_DICE.uniform(0, 0.2))


def _any_moment(victim: Victim, instruments: Instruments) -> None:
    time.sleep(_DICE.uniform(0.2, 1.2))


def _around_output_on(victim: Victim, instruments: Instruments) -> None:
    wait_until(lambda: instruments.on)
    time.sleep(_DICE.uniform(0, 0.005))


def _before_late_on(victim: Victim, instruments: Instruments) -> None:
    wait_until(lambda: bool(victim.children()))
    time.sleep(_DICE.uniform(0.05, 0.4))


def _kill(victim: Victim, instruments: Instruments) -> None:
    os.kill(victim.process.pid, signal.SIGKILL)


def _kill_group(victim: Victim, instruments: Instruments) -> None:
    os.killpg(os.getpgid(victim.process.pid), signal.SIGKILL)


def _stop(victim: Victim, instruments: Instruments) -> None:
    os.kill(victim.process.pid, signal.SIGSTOP)


def _kill_guardian(victim: Victim, instruments: Instruments) -> None:
    for child in victim.children():
        os.kill(child, signal.SIGKILL)


_CASES: list[tuple[str, int, list[str], Blow, Blow]] = [
    ("SIGKILL while running", 40, [], _running, _kill),
    ("SIGKILL at any moment", 30, [], _any_moment, _kill),
    ("SIGKILL up to 5 ms after output on", 60, [], _around_output_on, _kill),
    ("the source executes ON 300 ms late", 20, ["--late-on", "0.3"], _before_late_on, _kill),
    ("whole process group killed", 20, [], _running, _kill_group),
    ("instruments for one client", 20, ["--one-client"], _running, _kill),
    ("one client, up to 5 ms after output on", 10, ["--one-client"], _around_output_on, _kill),
    ("application stopped (SIGSTOP)", 15, [], _running, _stop),
    ("guardian killed", 15, [], _running, _kill_guardian),
]


def main(parts: float) -> None:
    """Print the table."""
    print(f"{'case':<42}{'left on':>10}{'off after ms, median / max':>28}{'readings lost':>16}")
    for name, count, options, wait, blow in _CASES:
        outcomes = [trial(options, wait, blow) for _ in range(max(1, round(count * parts)))]
        times = [1e3 * o.off_after_s for o in outcomes if o.off_after_s is not None]
        spread = f"{statistics.median(times):.1f} / {max(times):.1f}" if times else "never on"
        left = sum(o.left_on for o in outcomes)
        lost = sum(o.lost for o in outcomes)
        print(f"{name:<42}{left:>4} of {len(outcomes):<3}{spread:>27}{lost:>16}", flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
