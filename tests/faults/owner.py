"""A window without a picture: begins a run in a process of its own and writes down how many readings it has shown.

python -m tests.faults.owner SOURCE VOLTMETER FOLDER UNATTENDED
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from benchapp.host.launch import Launcher
from benchapp.host.order import BenchChoice, RunOrder
from benchapp.recipe import Recipe, StopRule


def main(source: str, voltmeter: str, folder: Path, unattended: bool) -> None:
    """Until it is killed, or the run has ended."""
    recipe = Recipe(1.0, nplc=0.05, settle_s=0.0, stop=StopRule(10_000_000), unattended=unattended)
    launcher = Launcher()
    far = launcher.begin(RunOrder(recipe, BenchChoice("", source, voltmeter), folder / "log.sqlite"))
    with (folder / "shown").open("w") as shown:
        (folder / "host").write_text(str(far.process))
        while not far.ended:
            far.poll()
            shown.write(f"{far.history.readings.count}\n")
            shown.flush()
            time.sleep(0.01)
    print(far.end.text if far.end else "", file=sys.stderr)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], Path(sys.argv[3]), sys.argv[4] == "yes")
