"""A day in minutes: a simulated bench at 600 times its pace, its run in a process of its own, a window open over it.

    python -m tests.benchmarks.day [SPEED]

Memory of both processes at each quarter of the day, and how long another window takes to show the whole run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

_SPEED = 600.0
_DAY_S = 86_400.0


def _rss_MB(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


def main(speed: float) -> None:
    """Print one line a quarter, then the attaching."""
    import os

    from benchapp.host.launch import Launcher
    from benchapp.ui.models import scenario_texts
    from tests.benchmarks.window import _make_window, _wait

    with tempfile.TemporaryDirectory() as name:
        window = _make_window(Path(name))
        window._controller._speed = speed
        texts = {**scenario_texts("shunt"), "blocks": "", "duration": "25 h", "settle": "40 ms", "nplc": "2"}
        window.recipe.take(texts)
        window.measure.start()
        session: Any = window._controller.session
        for quarter in range(1, 5):
            until_s = _DAY_S * quarter / 4
            while not session.ended and _time_s(session) < until_s:
                _wait(0.25)
            readings = session.history.readings.count
            print(
                f"{_time_s(session) / 3600:.1f} h, {readings} readings: host {_rss_MB(session.card.process):.0f} MB,"
                f" window {_rss_MB(os.getpid()):.0f} MB; {16 * 3 * readings / 2**21:.0f} MB of each is the readings",
                flush=True,
            )
        other = Launcher()
        start = time.perf_counter()
        found = other.found()
        assert found is not None
        while found.history.readings.count < readings:
            found.poll()
        print(
            f"attached with {found.history.readings.count} readings after {time.perf_counter() - start:.2f} s (goal 1)"
        )
        found.leave(running=True)
        window._controller.stop()
        _wait(3.0)
        window.close()


def _time_s(session: Any) -> float:
    last = session.history.readings.since(max(0, session.history.readings.count - 1))
    return float(last[0, -1]) if last.shape[1] else 0.0


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else _SPEED)
