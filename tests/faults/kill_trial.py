"""Deaths of a measuring program, its guardian and its connection, alone and together, in every phase of a run.

python -m tests.faults.kill_trial [DEATHS]

What must hold: what was shown is in the record; where program or guardian are left to act, the output is off 2 s later;
where nobody is, the next start names the source and how to switch it off, and `benchapp off` does.
"""

from __future__ import annotations

import contextlib
import functools
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
from pathlib import Path
from typing import Any

from benchapp.errors import BenchError
from benchapp.logbook.query import list_runs
from tests.faults.victim import Victim, wait_until
from tests.trials import Result, run_trial

_LIMIT_S = 2.0
_WATCH_S = 2.2


class Instruments:
    """The instruments' process; a context manager."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.faults.guarded_instruments"]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        assert self._process.stdout is not None
        self.addresses: dict[str, str] = json.loads(self._process.stdout.readline())

    def __enter__(self) -> Instruments:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.communicate()

    def order(self, words: str) -> Any:
        """One line in, its answer."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{words}\n")
        return json.loads(self._process.stdout.readline())

    @property
    def on(self) -> bool:
        """Whether the output is on."""
        history = self.order("?")
        return bool(history) and bool(history[-1][1])


Wait = Callable[[Victim, Instruments, random.Random], None]


def _start_up(_victim: Victim, _instruments: Instruments, dice: random.Random) -> None:
    time.sleep(dice.uniform(0.05, 0.9))


def _set_up(victim: Victim, instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: instruments.order("#") > 0)
    time.sleep(dice.uniform(0.0, 0.1))


def _before_on(victim: Victim, _instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: bool(victim.children()))
    time.sleep(dice.uniform(0.0, 0.05))


def _after_on(victim: Victim, instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: instruments.on)
    time.sleep(dice.uniform(0.0, 0.005))


def _late_on(victim: Victim, instruments: Instruments, dice: random.Random) -> None:
    instruments.order("late 0.3")
    _before_on(victim, instruments, dice)
    time.sleep(dice.uniform(0.0, 0.3))


def _running(victim: Victim, _instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: victim.streamed() > 20)
    time.sleep(dice.uniform(0.0, 0.2))


def _paused(victim: Victim, _instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: victim.paused)
    time.sleep(dice.uniform(0.0, 0.3))


def _finish(victim: Victim, _instruments: Instruments, dice: random.Random) -> None:
    _until(victim, lambda: victim.streamed() > _FINISH_BLOCKS - 10)
    time.sleep(dice.uniform(0.0, 0.08))


def _until(victim: Victim, condition: Callable[[], bool]) -> None:
    wait_until(lambda: condition() or victim.process.poll() is not None)


_FINISH_BLOCKS = 60
PHASES: dict[str, tuple[Wait, tuple[str, ...], bool]] = {
    "start-up": (_start_up, (), False),
    "set-up": (_set_up, (), False),
    "before on": (_before_on, (), False),
    "after on": (_after_on, (), False),
    "ON is late": (_late_on, (), False),
    "running": (_running, (), False),
    "pause": (_paused, (), True),
    "linked": (_running, ("--stepping", "lines"), False),
    "finish": (_finish, ("--blocks", str(_FINISH_BLOCKS)), False),
}
# Who is struck: P the program, G its guardian, L the connection; stop is SIGSTOP, term and int are orders to end.
BLOWS = ("P", "G", "L", "P+G", "P+L", "G+L", "P+G+L", "stop", "term", "int")


def strike(blow: str, victim: Victim, instruments: Instruments, dice: random.Random) -> None:
    """All that the blow names, in a random order."""
    pid, guardians = victim.process.pid, victim.children()
    parties = blow.split("+")
    dice.shuffle(parties)
    for party in parties:
        if party == "L":
            instruments.order("cut")
            continue
        number = {"stop": signal.SIGSTOP, "term": signal.SIGTERM, "int": signal.SIGINT}.get(party, signal.SIGKILL)
        for struck in guardians if party == "G" else [pid]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(struck, number)


def case(instruments: Instruments, number: int) -> Result:
    """One death; its number says where and how."""
    phase = list(PHASES)[number % len(PHASES)]
    blow = BLOWS[number // len(PHASES) % len(BLOWS)]
    wait, options, pausing = PHASES[phase]
    dice = random.Random(f"deaths {number}")
    instruments.order("fresh")
    pair = instruments.addresses
    result: Result = {"phase": phase, "blow": blow, "off_after_s": None, "left_on": False, "lost": 0, "offered": None}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Victim(pair["source"], pair["voltmeter"], folder, *options, pausing=pausing) as victim:
            wait(victim, instruments, dice)
            struck = time.monotonic()
            strike(blow, victim, instruments, dice)
            nobody = {"P", "G"} <= set(blow.split("+"))
            while time.monotonic() - struck < _WATCH_S and (instruments.on or time.monotonic() - struck < 0.5):
                time.sleep(0.01)
            history = instruments.order("?")
            if instruments.on:
                # A blow that met nothing leaves a run that goes on, guarded: its output is rightly on.
                before = victim.streamed()
                time.sleep(0.4)
                goes_on = victim.process.poll() is None and victim.streamed() > before and bool(victim.children())
                if nobody:
                    result["offered"] = _offered(victim, instruments)
                else:
                    result["left_on"] = not goes_on
            elif history and history[-1][0] > struck:
                result["off_after_s"] = history[-1][0] - struck
            shown = victim.streamed()
        try:
            kept = sum(run.readings for run in list_runs(folder / "log.sqlite"))
        except BenchError:
            kept = 0
        result["lost"] = max(0, shown - kept)
    return result


def _offered(victim: Victim, instruments: Instruments) -> bool:
    """Whether the next start names the source, and `benchapp off` switches it off."""
    run = functools.partial(
        subprocess.run, capture_output=True, text=True, env=victim.environment, timeout=60, check=False
    )
    program = [sys.executable, "-m", "benchapp.cli.main"]
    log = str(victim.logbook.with_name("next.sqlite"))
    start = ["measure", "--scenario", "shunt", "--blocks", "1", "--speed", "50", "--logbook", log]
    told = run([*program, *start]).stderr
    named = instruments.addresses["source"] in told and "benchapp off" in told
    return named and run([*program, "off"]).returncode == 0 and not instruments.on


def main() -> int:
    """Print the table."""
    deaths = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with Instruments() as instruments:
        results = run_trial("deaths", deaths, functools.partial(case, instruments))
    print(
        f"{'':<12}" + "".join(f"{blow:>9}" for blow in BLOWS) + "    (longest time to off in ms; – never on afterwards)"
    )
    for phase in PHASES:
        cells = []
        for blow in BLOWS:
            here = [r for r in results if (r["phase"], r["blow"]) == (phase, blow)]
            times = [r["off_after_s"] for r in here if r["off_after_s"] is not None]
            bad = sum(r["left_on"] or r["offered"] is False or r["lost"] > 0 for r in here)
            offered = any(r["offered"] for r in here)
            shown = f"{1e3 * max(times):.0f}" if times else "–"
            cells.append(f"BAD {bad}" if bad else f"{shown}{' off' if offered else ''}")
        print(f"{phase:<12}" + "".join(f"{cell:>9}" for cell in cells))
    times = [r["off_after_s"] for r in results if r["off_after_s"] is not None]
    left = [r for r in results if r["left_on"]]
    late = sum(time_s > _LIMIT_S for time_s in times)
    asked = [r["offered"] for r in results if r["offered"] is not None]
    spread = f"median {1e3 * statistics.median(times):.0f} ms, longest {1e3 * max(times):.0f} ms" if times else "never"
    print(
        f"{len(results)} deaths: readings lost after they were shown {sum(r['lost'] for r in results)}; output on after"
        f" {_LIMIT_S:g} s where program or guardian were left {len(left) + late}; off after {spread}; nobody left and"
        f" on {len(asked)}, of which the next start offered OFF and it acted {sum(asked)}"
    )
    for result in left:
        print(f"left on: {result}")
    return 1 if left or late or not all(asked) or any(r["lost"] for r in results) else 0


if __name__ == "__main__":
    sys.exit(main())
