"""Two programs on one source, a program and a window, and a start right after a crash.

python -m tests.faults.rivals [TRIES]

The second is refused by the first one's name, every time, and disturbs nothing; who starts within 0.1 s of a crash
waits for the guardian or is refused, and never states what it read while the output was off.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

from PySide6.QtCore import QCoreApplication

from benchapp.cli.main import main as benchapp
from benchapp.host.order import BenchChoice
from benchapp.recipe import Recipe, StopRule
from benchapp.ui.run_controller import RunController
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until
from tests.trials import Result, run_trial

_TOLERANCE = 0.01


class Rivals:
    """A simulated bench on sockets, and folders of our own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sim = SimulatedBench(load_scenario("shunt"), ScaledClock())
        self.server = BenchServer(self.sim)
        self.application = QCoreApplication.instance() or QCoreApplication([])

    def options(self, logbook: str) -> list[str]:
        """A run on it."""
        addresses = ["--source", self.server.source, "--voltmeter", self.server.voltmeter]
        return ["measure", *addresses, "--current", "1 A", "--logbook", str(self.folder / logbook)]

    def refused_program(self, name: str) -> bool:
        """A second program."""
        told = io.StringIO()
        with contextlib.redirect_stderr(told):
            status = benchapp(self.options("second.sqlite"))
        return status == 3 and name in told.getvalue()

    def refused_window(self, name: str) -> bool:
        """A second window: its controller, which the Start key presses."""
        controller = RunController(self.folder / "window.sqlite", 1.0)
        said: list[str] = []
        controller.failed.connect(said.append)
        recipe = Recipe(1.0, stop=StopRule(3))
        started = controller.start(recipe, BenchChoice("", self.server.source, self.server.voltmeter))
        session = controller.session
        if started and session is not None:
            session.wait(20.0)
            said += [session.end.text if session.end is not None else ""]
        controller.shut_down()
        return any(name in text for text in said)

    def after_a_crash(self, number: int) -> str:
        """A program is killed and another starts; what was wrong with it, else empty."""
        folder = self.folder / f"crash-{number}"
        folder.mkdir()
        with Victim(self.server.source, self.server.voltmeter, folder) as victim:
            os.environ |= {f"BENCHAPP_{name}": str(folder) for name in ("CONFIG", "DATA", "RUNTIME")}
            wait_until(lambda: victim.streamed() >= 5)
            os.kill(victim.process.pid, signal.SIGKILL)
            time.sleep(random.Random(number).uniform(0.0, 0.1))
            out, told = io.StringIO(), io.StringIO()
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(told):
                status = benchapp([*self.options(f"crash-{number}.sqlite"), "--blocks", "12", "--json", "-"])
        if status == 3:
            return "" if "in use by" in told.getvalue() else f"refused without a name: {told.getvalue()[-200:]}"
        stated = json.loads(out.getvalue())["resistance_ohm"] if out.getvalue() else None
        truth = self.sim.circuit.resistance_ohm()
        return "" if stated is not None and abs(stated / truth - 1) < _TOLERANCE else f"exit {status}, states {stated}"


def main() -> int:
    """Print how many were refused by name, and what became of those after a crash."""
    tries = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as name:
        rivals = Rivals(Path(name))
        os.environ |= {f"BENCHAPP_{which}": name for which in ("CONFIG", "DATA", "RUNTIME")}
        with Victim(rivals.server.source, rivals.server.voltmeter, Path(name)) as victim:
            wait_until(lambda: victim.streamed() >= 20)
            holder = f"in use by run 1 (process {victim.process.pid}"

            def case(number: int) -> Result:
                refused = rivals.refused_window if number % 2 else rivals.refused_program
                return {"refused": refused(holder)}

            results = run_trial("rivals", 2 * tries, case)
            undisturbed = rivals.sim.source.output_on and victim.process.poll() is None
        crashes = run_trial("crashes", max(1, tries // 4), lambda number: {"wrong": rivals.after_a_crash(number)})
        rivals.server.close()
    programs, windows = (sum(r["refused"] for r in results[k::2]) for k in (0, 1))
    wrong = [r["wrong"] for r in crashes if r["wrong"]]
    print(
        f"refused by name: {programs} of {tries} programs, {windows} of {tries} windows; the first run"
        f" {'went on' if undisturbed else 'ENDED'}; started within 0.1 s of a crash: {len(crashes) - len(wrong)} of"
        f" {len(crashes)} waited or were refused"
    )
    for text in wrong[:5]:
        print(f"  {text}")
    return 0 if programs == windows == tries and undisturbed and not wrong else 1


if __name__ == "__main__":
    sys.exit(main())
