"""A run that pauses by itself after some readings: python -m tests.faults.pausing SOURCE VOLTMETER LOGBOOK STREAM"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from benchapp.bench.limits import load_limits
from benchapp.bench.plan import plan_bench
from benchapp.cli.measure import until_the_end
from benchapp.cli.stream import ReadingStream
from benchapp.clock import ScaledClock
from benchapp.events import RunStatus
from benchapp.recipe import Recipe, StopRule
from benchapp.run.session import Session

_READINGS = 20


def main() -> int:
    """Measure, pause, say so, stay."""
    source, voltmeter, logbook, stream = sys.argv[1:]
    session = Session(
        plan_bench(source, voltmeter),
        Recipe(1.0, nplc=0.05, settle_s=0.0, stop=StopRule(None)),
        load_limits(),
        clock=ScaledClock(1.0),
        logbook=Path(logbook),
    )
    with ReadingStream(session, stream), until_the_end(session):
        paused = False
        while not session.ended:
            snapshot = session.snapshot
            if snapshot is not None and snapshot.readings > _READINGS and not paused:
                paused = True
                session.control.pause()
            if snapshot is not None and snapshot.status is RunStatus.PAUSED:
                Path(stream).with_suffix(".paused").touch()
            time.sleep(0.01)
    return 0 if session.end is not None and session.end.output_off else 3


if __name__ == "__main__":
    sys.exit(main())
