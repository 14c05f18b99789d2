"""Two programs on one source: the second is refused by the first one's name, every time.

python -m tests.faults.rivals [TRIES]
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
from pathlib import Path

from benchapp.cli.main import main as benchapp
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.faults.victim import Victim, wait_until


def main() -> int:
    """Print how many of the tries were refused by name."""
    tries = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock())
    with BenchServer(sim) as server, tempfile.TemporaryDirectory() as folder:
        os.environ |= {f"BENCHAPP_{name}": folder for name in ("CONFIG", "DATA", "RUNTIME")}
        options = ["--source", server.source, "--voltmeter", server.voltmeter, "--current", "1 A"]
        second = ["measure", *options, "--logbook", str(Path(folder) / "second.sqlite")]
        with Victim(server.source, server.voltmeter, Path(folder)) as victim:
            wait_until(lambda: victim.streamed() >= 20)
            refused = 0
            for _ in range(tries):
                told = io.StringIO()
                with contextlib.redirect_stderr(told):
                    status = benchapp(second)
                refused += status == 3 and f"in use by run 1 (process {victim.process.pid}" in told.getvalue()
            undisturbed = sim.source.output_on and victim.process.poll() is None
    print(
        f"second program refused by name: {refused} of {tries}; the first run {'went on' if undisturbed else 'ENDED'}"
    )
    return 0 if refused == tries and undisturbed else 1


if __name__ == "__main__":
    sys.exit(main())
