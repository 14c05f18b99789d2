"""Deaths of the window, of the process that measures and of its guardian, alone and in pairs, in a running run.

python -m tests.faults.host_trial [DEATHS]

What must hold: what was shown is in the record; the output is as the recipe says; where a run goes on, the next window
attaches and shows every reading; where nobody is left, the next start names the source and `benchapp off` acts.
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
from collections.abc import Iterator
from pathlib import Path

from benchapp.errors import BenchError
from benchapp.logbook.query import list_runs
from tests.faults.kill_trial import Instruments
from tests.faults.victim import wait_until
from tests.trials import Result, run_trial

# W the window, H the process that measures, G its guardian; W! where the recipe says that the run goes on alone.
BLOWS = ("W", "W!", "H", "G", "W+H", "W!+H", "W+G", "W!+G", "H+G")
_LIMIT_S = 2.0
_WATCH_S = 2.2
_RUNTIME = Path(tempfile.gettempdir()) / f"bt{os.getpid()}"


class Parties:
    """The three processes; what is left of them is killed at the end."""

    def __init__(self, pair: dict[str, str], folder: Path, unattended: bool) -> None:
        self.folder = folder
        own = {f"BENCHAPP_{name}": str(folder) for name in ("CONFIG", "DATA")}
        # One user, one folder of locks: the guardian of the case before may still look at the source.
        self.environment = os.environ | own | {"BENCHAPP_RUNTIME": str(_RUNTIME)}
        command = [sys.executable, "-m", "tests.faults.owner", pair["source"], pair["voltmeter"], str(folder)]
        self.window = subprocess.Popen(
            [*command, "yes" if unattended else "no"],
            env=self.environment,
            start_new_session=True,
        )
        wait_until(lambda: self.shown > 20)
        self.host = int((folder / "host").read_text())

    @property
    def shown(self) -> int:
        """Readings that the window has shown."""
        path = self.folder / "shown"
        lines = path.read_text().split("\n")[:-1] if path.exists() else []
        return int(lines[-1]) if lines else 0

    @property
    def guardians(self) -> list[int]:
        """Processes that the measuring one has started."""
        found: list[int] = []
        for path in Path(f"/proc/{self.host}/task").glob("*/children"):
            with contextlib.suppress(OSError):
                found += map(int, path.read_text().split())
        return found

    def strike(self, blow: str, dice: random.Random) -> None:
        """All that the blow names, in a random order."""
        named = {"W": [self.window.pid], "H": [self.host], "G": self.guardians}
        parties = blow.replace("!", "").split("+")
        dice.shuffle(parties)
        for pid in [pid for party in parties for pid in named[party]]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)

    def run(self, *program: str) -> subprocess.CompletedProcess[str]:
        """Another program of the same user."""
        command = [sys.executable, "-m", *program]
        return subprocess.run(command, capture_output=True, text=True, env=self.environment, timeout=60, check=False)


@contextlib.contextmanager
def parties(pair: dict[str, str], folder: Path, *, unattended: bool) -> Iterator[Parties]:
    """A run under way with all its processes."""
    found = Parties(pair, folder, unattended)
    try:
        yield found
    finally:
        found.strike("W+H+G", random.Random(0))
        found.window.wait(10)


_ATTACH = """
import json, sys, time
from benchapp.host.launch import Launcher
began = time.monotonic()
far = Launcher().found()
if far is None: sys.exit(3)
while far.poll(0.05) is False or far._more: pass
print(json.dumps([time.monotonic() - began, far.owner, far.history.readings.count,
    float(far.history.readings.since(0)[0, 0])]))
far.control.stop("the trial is over")
far.wait(5)
"""


def case(instruments: Instruments, number: int) -> Result:
    """One death; its number says which."""
    blow = BLOWS[number % len(BLOWS)]
    dice = random.Random(f"host deaths {number}")
    instruments.order("fresh")
    result: Result = {"blow": blow, "off_after_s": None, "lost": 0, "bad": "", "attached_s": None}
    with (
        tempfile.TemporaryDirectory() as name,
        parties(instruments.addresses, Path(name), unattended="!" in blow) as there,
    ):
        time.sleep(dice.uniform(0.0, 0.2))
        struck = time.monotonic()
        there.strike(blow, dice)
        goes_on, nobody = blow == "W!", blow == "H+G"
        while time.monotonic() - struck < (0.5 if goes_on or nobody else _WATCH_S) and (instruments.on or goes_on):
            time.sleep(0.01)
        shown = there.shown
        if goes_on:
            result |= _attached(there, instruments, shown)
        elif nobody:
            result["bad"] = "" if _offered(there, instruments) else "OFF was not offered"
        elif instruments.on:
            result["bad"] = "left on"
        else:
            result["off_after_s"] = instruments.order("?")[-1][0] - struck
        try:
            kept = list_runs(Path(name) / "log.sqlite")[0].readings
        except (BenchError, IndexError):
            kept = 0
        result["lost"] = max(0, shown - kept)
    return result


def _attached(there: Parties, instruments: Instruments, shown: int) -> Result:
    """The next window takes the run over and shows all of it."""
    if not instruments.on:
        return {"bad": "went off"}
    came = subprocess.run(
        [sys.executable, "-c", _ATTACH], capture_output=True, text=True, env=there.environment, timeout=60, check=False
    )
    if came.returncode:
        return {"bad": f"not attached: {came.stderr[-200:]}"}
    took_s, owner, count, first_s = json.loads(came.stdout)
    whole = owner and count >= shown and first_s < 0.5
    wait_until(lambda: not instruments.on, 5)
    return {"attached_s": took_s, "bad": "" if whole else f"attached to a part: {came.stdout}"}


def _offered(there: Parties, instruments: Instruments) -> bool:
    start = ("benchapp.cli.main", "measure", "--scenario", "shunt", "--blocks", "1", "--speed", "50")
    told = there.run(*start, "--logbook", str(there.folder / "next.sqlite")).stderr
    named = instruments.addresses["source"] in told and "benchapp off" in told
    return named and there.run("benchapp.cli.main", "off").returncode == 0 and not instruments.on


def main() -> int:
    """Print the table."""
    deaths = int(sys.argv[1]) if len(sys.argv) > 1 else 30 * len(BLOWS)
    with Instruments() as instruments:
        results = run_trial("host deaths", deaths, functools.partial(case, instruments))
    print(f"{'killed':<8}{'deaths':>8}{'lost':>6}{'bad':>5}{'off, ms':>18}{'attached, ms':>15}   (median, longest)")
    for blow in BLOWS:
        here = [r for r in results if r["blow"] == blow]
        cells = []
        for key in ("off_after_s", "attached_s"):
            times = [1e3 * r[key] for r in here if r[key] is not None]
            cells.append(f"{statistics.median(times):.0f}, {max(times):.0f}" if times else "–")
        lost, bad = sum(r["lost"] for r in here), sum(bool(r["bad"]) for r in here)
        print(f"{blow:<8}{len(here):>8}{lost:>6}{bad:>5}{cells[0]:>18}{cells[1]:>15}")
    for result in results:
        if result["bad"]:
            print(result)
    late = any((r["off_after_s"] or 0.0) > _LIMIT_S for r in results)
    return 1 if late or any(r["bad"] or r["lost"] for r in results) else 0


if __name__ == "__main__":
    sys.exit(main())
