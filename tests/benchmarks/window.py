"""What the window costs: frames while it measures, paints of long histories, start, step rate, idling.

python -m tests.benchmarks.window        under a display; `make bench` starts one where there is none
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

_REPEATS = 3
_LONG = 10_000_000


def main() -> None:
    """Each figure in a process of its own, so that none warms up another."""
    for scale in ("1", "2"):
        _child("frames", scale)
    for scale in ("1", "2"):
        _child("long", scale)
    _starts()
    _child("steps", "1")
    _child("idle", "1")


def _child(figure: str, scale: str) -> None:
    environment = os.environ | {"QT_SCALE_FACTOR": scale}
    subprocess.run([sys.executable, "-m", "tests.benchmarks.window", figure, scale], env=environment, check=True)


def _wait(seconds: float) -> None:
    from PySide6.QtCore import QEventLoop, QTimer

    loop = QEventLoop()
    QTimer.singleShot(round(1000 * seconds), loop.quit)
    loop.exec()


def _make_window(folder: Path, *, hosted: bool = True) -> Any:
    from PySide6.QtWidgets import QApplication

    from benchapp.host.launch import Launcher
    from benchapp.ui.run_controller import RunController
    from benchapp.ui.theme import Theme, apply_theme, load_fonts
    from benchapp.ui.window import MainWindow

    application = QApplication.instance() or QApplication([])
    assert isinstance(application, QApplication)
    application.setStyle("Fusion")
    load_fonts()
    theme = Theme("dark")
    apply_theme(application, theme.colours)
    os.environ["BENCHAPP_CONFIG"] = str(folder)
    window = MainWindow(
        theme, lambda: RunController(folder / "log.sqlite", launcher=Launcher() if hosted else None), "shunt"
    )
    window._asks = False
    window.show()
    _wait(1.5)
    return window


class _Paints:
    """Starts of the paints of one widget."""

    def __init__(self, widget: Any) -> None:
        from PySide6.QtCore import QEvent, QObject

        paints: list[float] = []
        self.starts = paints

        class Filter(QObject):
            def eventFilter(self, _: QObject, event: QEvent) -> bool:
                if event.type() == QEvent.Type.Paint:
                    paints.append(time.perf_counter())
                return False

        self._filter = Filter()
        widget.installEventFilter(self._filter)


def _instruments() -> tuple[subprocess.Popen[str], dict[str, str]]:
    command = [sys.executable, "-m", "tests.benchmarks.instant_instruments"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    return process, json.loads(process.stdout.readline())


def _start_run(window: Any, addresses: dict[str, str], **texts: str) -> None:
    from benchapp.host.order import BenchChoice

    window.bench.choose(BenchChoice("", addresses["source"], addresses["voltmeter"]))
    base = {"current": "1 mA", "range": "1 V", "nplc": "0.001", "settle": "0", "endless": "true"}
    window.recipe.take(base | texts)
    window.measure.start()


def frames(scale: str) -> None:
    """Paint start to paint start at about 1,000 readings a second."""
    worst, rates = [], []
    for _ in range(_REPEATS):
        process, addresses = _instruments()
        with tempfile.TemporaryDirectory() as name:
            window = _make_window(Path(name))
            paints = _Paints(window.measure.plots.resistance.plot.viewport())
            _start_run(window, addresses, settle="0.85 ms")
            _wait(2.0)
            del paints.starts[:]
            before = window._controller.session.history.readings.count
            _wait(8.0)
            rates.append((window._controller.session.history.readings.count - before) / 8.0)
            # Two paints within one event turn are one frame.
            frames = [b - a for a, b in zip(paints.starts, paints.starts[1:], strict=False) if b - a > 0.012]
            worst.append(1e3 * statistics.quantiles(frames, n=100)[98])
            window.close()
        process.kill()
        process.communicate()
    rate = statistics.median(rates)
    print(
        f"frames at {rate:.0f} readings/s, scale {scale}: p99 {max(worst):.1f} ms (largest of 3; goal 40)", flush=True
    )


def long(scale: str) -> None:
    """Median paint with ten million points, live and in pan, against a plain plot with its own down-sampling."""
    import numpy as np
    import pyqtgraph as pg

    from benchapp.analysis.running_blocks import ClosedBlock
    from benchapp.run.history import History

    rng = np.random.default_rng(1)
    t = np.arange(_LONG) * 1e-3
    V = np.where(np.arange(_LONG) % 2, -1.0, 1.0) * 1e-5 + rng.normal(0, 1e-7, _LONG)
    with tempfile.TemporaryDirectory() as name:
        window = _make_window(Path(name))
        plots, recipe = window.measure.plots, window.recipe.recipe
        history = History()
        n = len(ClosedBlock._fields)
        history.readings._data = np.stack([t, np.sign(V), V])
        history.readings.count = _LONG - 20_000
        blocks = np.zeros((n, _LONG // 3))
        blocks[0], blocks[1], blocks[3], blocks[4] = t[1::3][: _LONG // 3], 1e-5, 1e-5, 1e-8
        blocks[1] += rng.normal(0, 1e-7, _LONG // 3)
        history.blocks._data = blocks
        history.blocks.count = _LONG // 3 - 7_000
        plots.start(recipe)
        plots.show_history(history, recipe, 0.0)

        def grow() -> None:
            history.readings.count += 33
            history.blocks.count += 11
            plots.show_history(history, recipe, 0.0)

        def pan(step: int) -> None:
            plots.following = False
            plots.emf.plot.setXRange(1000.0 + 10 * step, 6000.0 + 10 * step, padding=0)

        ours_live = _painted(lambda _: grow(), plots)
        ours_pan = _painted(pan, plots)
        window.close()
    plain = pg.PlotWidget()
    plain.resize(1000, 500)
    curve = plain.plot(t, V)
    curve.setDownsampling(auto=True, method="peak")
    curve.setClipToView(True)
    plain.show()
    _wait(0.5)
    plain_live = _painted(lambda step: curve.setData(t[: step - 400], V[: step - 400]), plain, 12)
    plain_pan = _painted(lambda step: plain.setXRange(1000 + 10 * step, 6000 + 10 * step, padding=0), plain, 12)
    print(
        f"paint at {_LONG:,} points, scale {scale}: live {ours_live:.1f} ms, ratio {plain_live / ours_live:.1f} to a"
        f" plain plot's {plain_live:.0f} ms (goal 10); pan {ours_pan:.1f} ms, ratio {plain_pan / ours_pan:.1f}",
        flush=True,
    )


def _painted(change: Callable[[int], None], widget: Any, times: int = 40) -> float:
    """Median ms of a change and the paint that it causes."""
    from PySide6.QtWidgets import QApplication

    found = []
    for step in range(times):
        start = time.perf_counter()
        change(step)
        QApplication.processEvents()
        found.append(1e3 * (time.perf_counter() - start))
        _wait(0.005)
    return statistics.median(found[2:])


def _starts() -> None:
    """Process start to the first paint of the window, against importing everything."""
    shell = "import sys, time; from tests.benchmarks.window import shell; shell()"
    eager = (
        "import scipy.stats, scipy.special, pint, pyqtgraph, pyvisa, pyvisa_py, benchapp.ui.window; pint.UnitRegistry()"
    )
    painted: list[float] = []
    imported: list[float] = []
    for _ in range(_REPEATS + 2):
        for program, into in ((shell, painted), (eager, imported)):
            start = time.perf_counter()
            subprocess.run([sys.executable, "-c", program], check=True)
            into.append(1e3 * (time.perf_counter() - start))
    first, all_ = statistics.median(painted), statistics.median(imported)
    print(
        f"start: window painted after {first:.0f} ms, all imports eager {all_:.0f} ms, ratio {first / all_:.2f}",
        flush=True,
    )


def shell() -> None:
    """The program's own start; leaves at the first paint of the window."""
    from PySide6.QtCore import QEvent, QObject
    from PySide6.QtWidgets import QMainWindow

    from benchapp.ui import app

    class AtPaint(QObject):
        def eventFilter(self, _: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint:
                os._exit(0)
            return False

    plain = QMainWindow.show
    watch: list[AtPaint] = []

    def show(window: QMainWindow) -> None:
        watch.append(AtPaint())
        frame = window.centralWidget()
        assert frame is not None
        frame.installEventFilter(watch[0])
        plain(window)

    from benchapp.ui.window import MainWindow

    MainWindow.show = show  # type: ignore[method-assign,assignment]  # only here, to see the first paint
    app.run_window(Path(tempfile.mkdtemp()) / "x.sqlite")


def steps(_: str) -> None:
    """Steps per second with the window open over the engine alone, interleaved: the run in a process of its own, as the
    program does it, and in the window's.
    """
    for hosted in (True, False):
        _steps(hosted=hosted)


def _steps(*, hosted: bool) -> None:
    from tests.benchmarks.step_rate import engine

    ratios = []
    process, addresses = _instruments()
    with tempfile.TemporaryDirectory(dir=".") as name:
        window = _make_window(Path(name), hosted=hosted)
        for _repeat in range(_REPEATS):
            alone = engine(addresses["source"], addresses["voltmeter"], Path(name))
            _start_run(window, addresses)
            _wait(1.0)
            session = window._controller.session
            before, start = session.history.readings.count, time.perf_counter()
            _wait(2.0)
            rate = (session.history.readings.count - before) / (time.perf_counter() - start)
            window._controller.stop()
            _wait(1.5)
            window.measure.show_idle()
            ratios.append(rate / alone)
        window.close()
    process.kill()
    process.communicate()
    where = "in a process of its own" if hosted else "in the window's process"
    print(
        f"step rate with the window open over the engine alone, run {where}: {statistics.median(ratios):.2f}"
        f" ({min(ratios):.2f} to {max(ratios):.2f}; goal 0.92)",
        flush=True,
    )


def idle(_: str) -> None:
    """Share of a core while nothing happens."""
    with tempfile.TemporaryDirectory() as name:
        window = _make_window(Path(name))
        _wait(1.0)

        def used() -> float:
            usage = resource.getrusage(resource.RUSAGE_SELF)
            return usage.ru_utime + usage.ru_stime

        before = used()
        _wait(10.0)
        share = (used() - before) / 10.0
        window.close()
    print(f"idle window: {share:.2%} of a core (goal 0.5 %)", flush=True)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        {"frames": frames, "long": long, "steps": steps, "idle": idle}[sys.argv[1]](sys.argv[2])
    else:
        main()
