"""Every stage in its states as PNG files, to be looked at.

python -m tests.benchapp.ui.gallery [FOLDER]      (screens/)
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication

from benchapp.host.order import BenchChoice
from benchapp.run.session import Session
from benchapp.ui.models import scenario_texts
from benchapp.ui.presentation import Trust
from benchapp.ui.run_controller import RunController
from benchapp.ui.theme import THEMES, Theme, apply_theme, load_fonts
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.widgets.rail import StageName
from benchapp.ui.window import MainWindow

# By scale: the last two are a screen of 1920x1080 at 150 and 200 %.
SIZES = {"1": ((1280, 800), (1920, 1080)), "1.5": ((1280, 720),), "2": ((960, 540),)}
_VALID = (Trust.ALL, Trust.REPEATABILITY)
_STATES = {
    "pass": ("pass", _VALID),
    "fail": ("fail", _VALID),
    "undecided": ("undecided", _VALID),
    "not-valid": ("", (Trust.NOT_VALID,)),
    "compliance": ("", (Trust.NOT_VALID,)),
    "instrument-lost": ("", (Trust.NOT_VALID,)),
    "doubtful": ("", (Trust.DOUBTFUL,)),
    "drifting": ("", (Trust.DOUBTFUL, Trust.NOT_VALID)),
}
LONG = "Busbar joint between feeder cabinet 7 and transformer T2, phase L3, second bolt row, after retightening"


def wait(milliseconds: int) -> None:
    """Let the window live."""
    loop = QEventLoop()
    QTimer.singleShot(milliseconds, loop.quit)
    loop.exec()


def wait_for(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    """Let the window live until something is so."""
    for _ in range(round(seconds / 0.02)):
        if condition():
            return
        wait(20)
    raise AssertionError("it did not come to pass")


@dataclass(frozen=True, slots=True)
class Screen:
    """One picture."""

    name: str
    theme: str
    image: QImage


class Studio:
    """One window, put into one state after the other."""

    def __init__(self, theme: str, size: tuple[int, int], folder: Path, speed: float = 30.0) -> None:
        self.theme = Theme(theme)
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        apply_theme(application, self.theme.colours)
        self._speed, self._fast = speed, max(60.0, speed)  # at a high speed a busy computer leaves doubts
        self.controller = RunController(folder / "log.sqlite", speed)
        self.window = MainWindow(self.theme, lambda: self.controller, "busbar_joint")
        self.window.resize(*size)
        self.window.show()
        wait(100)

    def shot(self, name: str) -> Screen:
        """The window as it is; a picture that is named after a state shows that state."""
        wait(150)
        for word, (verdict, trusts) in _STATES.items():
            if name.endswith(f"-{word}"):
                shown = self.window.measure.shown
                assert shown is not None
                assert shown.trust in trusts, f"{name} is {shown.trust} ({shown.note})"
                assert verdict in ("", shown.verdict), f"{name}: {shown.verdict}"
        return Screen(name, self.theme.colours.name, self.window.grab().toImage())

    def recipe(self, scenario: str, **texts: str) -> None:
        """A simulated bench with its recipe, and changes to it."""
        self.window.measure.show_idle()
        self.window.bench_stage.choose_scenario(scenario)
        self.window.recipe.take(scenario_texts(scenario))
        for key, text in texts.items():
            self.window.recipe.set_text(key, text)
        self.window.show_stage(StageName.MEASURE)

    def run(self, scenario: str, *, wanted: Trust | None = None, **texts: str) -> None:
        """One run to its end; once more where it is not as wanted, as where a busy computer left a gap in it."""
        for _ in range(5):
            self.controller._speed = self._fast if wanted is None else self._speed
            self.recipe(scenario, **texts)
            self.window.measure.start()
            wait_for(lambda: not self.controller.running)
            wait(100)
            shown = self.window.measure.shown
            if wanted is None or (shown is not None and shown.trust is wanted):
                break

    def screens(self) -> Iterator[Screen]:
        """All states, one after the other."""
        window = self.window
        yield self.shot("measure-empty")
        window.show_stage(StageName.LOGBOOK)
        yield self.shot("logbook-empty")
        window.show_stage(StageName.SPECIMEN)
        yield self.shot("specimen")
        window.recipe.set_text("settle", "20")
        window.recipe.set_text("signs", "++")
        yield self.shot("specimen-faults")
        self.run("busbar_joint", wanted=Trust.REPEATABILITY, low="11 uohm", high="12.5 uohm")
        yield self.shot("measure-pass")
        yield from self._plan()
        yield from self._pages()
        self.run("busbar_joint", wanted=Trust.REPEATABILITY, low="11 uohm", high="11.6 uohm")
        yield self.shot("measure-fail")
        self.run("busbar_joint", wanted=Trust.REPEATABILITY, low="11 uohm", high="11.83 uohm")
        yield self.shot("measure-undecided")
        self.run("crimp_contact", name=LONG, high="", nominal="")
        yield self.shot("measure-no-limits-long-name")
        self.run("bond_wire", nominal="48 ohm", low="", high="", range="1 mV")
        yield self.shot("measure-tiny-number")
        self.run("cable_sample", wanted=Trust.DOUBTFUL, blocks="60", current="10 A", range="100 mV", high="1.15 mohm")
        yield self.shot("measure-drifting")
        self.run("exchanged_leads", high="4 mohm", low="1 mohm")
        yield self.shot("measure-not-valid")
        window.show_read_out()
        yield self.shot("read-out-not-valid")
        window.leave_read_out()
        self.run("loose_contact", wanted=Trust.DOUBTFUL, high="66 uohm", low="60 uohm")
        yield self.shot("measure-doubtful")
        self.run("shunt", compliance="20 mV")
        yield self.shot("measure-compliance")
        yield from self._running()
        yield from self._lost()
        window.show_stage(StageName.LOGBOOK)
        yield self.shot("logbook")
        window.logbook.open_selected()
        window.logbook.overlay_previous()
        yield self.shot("logbook-run")
        yield from self._checks()
        yield from self._studies()
        window.close()

    def _plan(self) -> Iterator[Screen]:
        window, panel = self.window, self.window.specimen.plan
        self.run("busbar_joint", blocks="120", high="12.5 uohm")
        window.show_stage(StageName.SPECIMEN)
        wait_for(lambda: bool(panel.picture.foreseen.curves))
        yield self.shot("specimen-foreseen")
        window.recipe.set_text("blocks", "")
        window.recipe.set_text("until", "0.3 %")
        wait_for(lambda: bool(panel.picture.foreseen.others))
        yield self.shot("specimen-plan")
        panel.buttons[0].click()
        wait_for(lambda: bool(window.recipe.planned) and panel.planner.idle)
        yield self.shot("specimen-planned")
        window.specimen.form.toggle_rare()
        yield self.shot("specimen-rare")
        window.specimen.form.toggle_rare()

    def _pages(self) -> Iterator[Screen]:
        window = self.window
        window.use_card(Path(__file__).with_name("card.toml"))
        self.run("busbar_joint", blocks="80", low="11 uohm", high="11.832 uohm")
        window.measure.pages.choose(1)
        yield self.shot("measure-budget")
        window.measure.pages.choose(2)
        yield self.shot("measure-stability")
        window.measure.pages.choose(1)
        self.run("cable_drum")  # its caution takes the room of the bars
        yield self.shot("measure-budget-caution")
        window.measure.pages.choose(0)
        self.controller.card = None
        self.run("warm_shunt", blocks="", duration="", examine="yes", signs="", cycles="9")
        wait(1200)
        assert window.measure.pages.stack.currentIndex() == 4
        yield self.shot("measure-examined")
        window.measure.pages.choose(0)

    def _check(self, scenario: str, **texts: str) -> None:
        self.controller._speed = self._fast
        self.recipe(scenario, **texts)
        self.window.check()
        wait_for(lambda: not self.window._stages.check.under_way)

    def _checks(self) -> Iterator[Screen]:
        window, stage = self.window, self.window.check_stage
        self.recipe("shunt")
        window.show_stage(StageName.CHECK)
        yield self.shot("check-before")
        for scenario, name, main in (
            ("shunt", "check-good", "Start"),
            ("exchanged_leads", "check-failed", "Check again"),
            ("open_sense_lead", "check-open-lead", "Check again"),
            ("humming_shop", "check-notice", "Start"),
        ):
            self._check(scenario)
            assert stage.main.text() == main, f"{name}: {stage.main.text()}, {stage.summary.text()}"
            yield self.shot(name)
            if name == "check-failed":
                window.show_stage(StageName.MEASURE)
                assert window.measure.main.text() == "See the check"
                yield self.shot("measure-held")

    def _studies(self) -> Iterator[Screen]:
        window, stage = self.window, self.window.study
        self.recipe("soaking_insulation", blocks="", duration="20 s")
        window.show_stage(StageName.STUDY)
        stage.list.setCurrentRow(0)
        yield self.shot("study-new")
        for scenario, kind in (("soaking_insulation", "settling"), ("filmed_contact", "power")):
            self.recipe(scenario, blocks="", duration="20 s")
            window.show_stage(StageName.STUDY)
            stage.list.setCurrentRow(0)
            stage.kinds.choose(kind)
            stage.main_pressed()
            wait_for(lambda: stage.list.currentRow() > 0, 120.0)
            yield self.shot(f"study-{kind}")

    def _running(self) -> Iterator[Screen]:
        window = self.window
        self.recipe("busbar_joint", blocks="100000", low="11 uohm", high="12.5 uohm")
        window.measure.start()
        wait_for(lambda: window.rail.plate.state is OutputState.ON)
        session = self.controller.session
        assert session is not None
        wait_for(lambda: session.history.blocks.count > 40)
        session.control.mark("door opened")
        wait_for(lambda: session.history.blocks.count > 80)
        yield self.shot("measure-running")
        window.show_read_out()
        yield self.shot("read-out-running")
        window.leave_read_out()
        window.show_stage(StageName.BENCH)
        yield self.shot("bench-running")
        window.show_stage(StageName.MEASURE)
        window.measure.pause()
        wait(100)
        yield self.shot("measure-paused")
        window.output_off()
        wait_for(lambda: not self.controller.running)
        window.show_read_out()
        yield self.shot("read-out-ended")
        window.leave_read_out()

    def _lost(self) -> Iterator[Screen]:
        window = self.window
        window.measure.show_idle()
        window.bench.choose(BenchChoice("", "TCPIP::127.0.0.1::9::SOCKET", "TCPIP::127.0.0.1::9::SOCKET"))
        window.show_stage(StageName.BENCH)
        window.bench_stage.ask()
        wait(600)
        yield self.shot("bench-no-answer")
        window.show_stage(StageName.MEASURE)
        window.measure.start()
        wait_for(lambda: not self.controller.running)
        yield self.shot("measure-instrument-lost")
        session = self.controller.session
        assert isinstance(session, Session)
        assert session.snapshot is not None
        assert session.snapshot.end is not None
        # The source's last word is missing: as after a cable that was pulled.
        end = replace(session.snapshot.end, output_off=False)
        session.snapshot = replace(session.snapshot, output_on=True, end=end)
        self.controller.polled.emit(session)
        yield self.shot("output-not-known")
        session.snapshot = replace(session.snapshot, output_on=False)
        self.controller.polled.emit(session)


def pictures(folder: Path) -> None:
    """Write all pictures at the scale of this process."""
    application = QApplication.instance() or QApplication([])
    assert isinstance(application, QApplication)
    application.setStyle("Fusion")
    load_fonts()
    scale = os.environ.get("QT_SCALE_FACTOR", "1")
    for theme in THEMES:
        for size in SIZES[scale]:
            with tempfile.TemporaryDirectory() as name:
                os.environ["BENCHAPP_CONFIG"] = os.environ["BENCHAPP_DATA"] = name
                for screen in Studio(theme, size, Path(name)).screens():
                    at = f"{size[0]}" if scale == "1" else f"{float(scale):.0%}"
                    screen.image.save(str(folder / f"{screen.name}-{theme}-{at}.png"))


def main(folder: Path) -> None:
    """Write all pictures, two scales at a time: a scale holds for a whole process."""
    folder.mkdir(parents=True, exist_ok=True)
    waiting = [[sys.executable, "-m", __spec__.name, str(folder), "--at", scale] for scale in SIZES]
    running: list[subprocess.Popen[bytes]] = []
    while waiting or running:
        while waiting and len(running) < 2:
            running.append(subprocess.Popen(waiting.pop(0)))
        if running.pop(0).wait():
            raise SystemExit("a picture is not what its name says")
    print(f"{len(list(folder.glob('*.png')))} pictures in {folder}")


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    where = Path(sys.argv[1] if len(sys.argv) > 1 else "screens")
    if "--at" in sys.argv:
        os.environ["QT_SCALE_FACTOR"] = sys.argv[-1]
        pictures(where)
    else:
        main(where)
