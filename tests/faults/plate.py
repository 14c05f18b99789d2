"""What the plate shows, held against the instrument's own state: idle, in runs, through faults, with a slow disk.

python -m tests.faults.plate [SAMPLES]

The instruments run in a process of their own and note when their output changed. What the plate shows is noted at each
of its changes; then moments are drawn, and both are looked up.
"""

from __future__ import annotations

import bisect
import os
import random
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar
from unittest import mock

from PySide6.QtWidgets import QApplication

from benchapp.bench.output import OutputState
from benchapp.host.order import BenchChoice
from benchapp.logbook.store import RunWriter
from benchapp.ui.output_watch import Target
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import Theme, apply_theme, load_fonts
from benchapp.ui.window import MainWindow
from tests.faults.kill_trial import Instruments

_A_RUN_S = 3.0
_SLOW_DISK_S = 3.0
_AGE_S, _AGE_IN_RUN_S = 1.0, 0.1
_DICE = random.Random(22)
T = TypeVar("T")


class Trial:
    """A window on instruments elsewhere; `shown` are the plate's changes, `driven` when a hand was on the panel."""

    def __init__(self, folder: Path, instruments: Instruments) -> None:
        self._instruments = instruments
        theme = Theme("dark")
        application = QApplication.instance() or QApplication([])
        assert isinstance(application, QApplication)
        self._application = application
        load_fonts()
        apply_theme(application, theme.colours)
        self.window = MainWindow(theme, lambda: RunController(folder / "log.sqlite", 1.0), "shunt")
        pair = instruments.addresses
        self.window.bench.choose(BenchChoice("", pair["source"], pair["voltmeter"]))
        self.window._controller.output.follow(Target(pair["source"], "scpi"))
        self.shown: list[tuple[float, OutputState]] = []
        self.by_hand: list[tuple[float, float]] = []
        plate = self.window.rail.plate
        painted = plate.set_state

        def noted(state: OutputState, current: str = "", why: str = "") -> None:
            painted(state, current, why)
            self.shown.append((time.monotonic(), state))

        plate.set_state = noted  # type: ignore[method-assign]
        self.window.show()

    def live(self, seconds: float, until: Callable[[], bool] = lambda: False) -> None:
        """Let the window live."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and not until():
            self._application.processEvents()
            time.sleep(0.002)

    def run(self, *, seconds: float, then: Callable[[], None] = lambda: None) -> None:
        """A run of so long, then a fault or nothing, then the end."""
        controller = self.window._controller
        recipe = self.window.recipe.recipe
        assert recipe is not None
        assert controller.start(recipe, self.window.bench.choice)
        self.live(20.0, lambda: self._instruments.on)
        self.live(seconds)
        then()
        self.live(0.5)
        controller.stop()
        self.live(30.0, lambda: not controller.running)

    def hand(self, on: bool) -> None:
        """A hand on the panel."""
        before = time.monotonic()
        self._instruments.order(f"panel {'ON' if on else 'OFF'}")
        self.by_hand.append((before, time.monotonic() + _AGE_S))


def _pause(trial: Trial) -> None:
    session = trial.window._controller.session
    assert session is not None
    session.control.pause()
    trial.live(0.7)
    session.control.resume()


def main() -> int:
    """Print the figures."""
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as name, Instruments() as instruments:
        os.environ |= {f"BENCHAPP_{which}": name for which in ("CONFIG", "DATA", "RUNTIME")}
        trial = Trial(Path(name), instruments)
        append = RunWriter.append

        def slow(writer: RunWriter, *what: object) -> None:
            time.sleep(_SLOW_DISK_S)
            append(writer, *what)  # type: ignore[arg-type]

        trial.live(2.0)
        begun = time.monotonic()
        rounds = max(1, round(samples / 100))
        for _ in range(rounds):
            trial.live(0.8)
            trial.hand(True)
            trial.live(1.6)
            trial.hand(False)
            trial.live(1.2)
            trial.run(seconds=_DICE.uniform(0.2, 1.0))
            trial.run(seconds=0.5, then=lambda: _pause(trial))
            trial.run(seconds=0.5, then=lambda: instruments.order("cut"))
            with mock.patch.object(RunWriter, "append", slow):
                trial.run(seconds=_DICE.uniform(0.2, 1.0))
        ended = time.monotonic()
        truth = instruments.order("?")
        trial.window.close()
    moments = sorted(_DICE.uniform(begun, ended) for _ in range(samples))
    lies, late, counted = [], 0.0, dict.fromkeys(OutputState, 0)
    for moment in moments:
        shown = _at(trial.shown, moment, OutputState.NONE)
        on = _at(truth, moment, False)
        counted[shown] += 1
        by_hand = any(a <= moment <= b for a, b in trial.by_hand)
        if shown is OutputState.OFF and on and not by_hand:
            lies.append(moment - begun)
    for when, on in truth:
        if when < begun or not on:
            continue
        seen = next((t for t, state in trial.shown if t >= when and state is OutputState.ON), ended)
        if _at(trial.shown, when, OutputState.NONE) is not OutputState.ON:
            by_hand = any(a <= when <= b for a, b in trial.by_hand)
            late = max(late, 0.0 if by_hand else seen - when)
            if by_hand and seen - when > _AGE_S:
                lies.append(when - begun)
    print(
        f"{samples} samples over {ended - begun:.0f} s, {4 * rounds} runs (a quarter with {_SLOW_DISK_S:g} s a commit):"
        f' shown {", ".join(f"{state} {count}" for state, count in counted.items())}; "off" while on {len(lies)};'
        f" ON shown at most {1e3 * late:.0f} ms after the source had executed it"
    )
    for moment in lies[:10]:
        print(f"  off while on at {moment:.2f} s")
    return 1 if lies or late > _AGE_IN_RUN_S else 0


def _at(changes: Sequence[tuple[float, T]], moment: float, otherwise: T) -> T:
    place = bisect.bisect([when for when, _ in changes], moment)
    return changes[place - 1][1] if place else otherwise


if __name__ == "__main__":
    sys.exit(main())
