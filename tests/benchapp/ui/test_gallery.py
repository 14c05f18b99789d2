"""Questions to every picture of the gallery."""

from pathlib import Path

import pytest
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QApplication

from benchapp.ui.theme import THEMES, load_fonts
from tests.benchapp.ui.conftest import gone
from tests.benchapp.ui.gallery import Studio
from tests.benchapp.ui.layout_check import layout_faults

_MARKS = {
    "measure-pass": ("passed", "band", "accent", "positive", "negative", "emf"),
    "measure-fail": ("failed", "band", "accent"),
    "measure-undecided": ("ink", "band"),
    "measure-not-valid": ("caution",),
    "read-out-not-valid": ("caution",),
    "measure-running": ("output", "positive", "negative"),
    "read-out-running": ("output",),
    "bench-no-answer": ("failed",),
    "output-not-known": ("output",),
    "specimen": ("caution", "band"),
    "specimen-faults": ("failed",),
    "specimen-foreseen": ("accent", "ink"),
    "specimen-planned": ("accent",),
    "logbook": ("failed", "caution"),
    "check-good": ("passed", "positive", "negative"),
    "check-failed": ("failed", "caution"),
    "study-settling": ("accent", "ink"),
}


# Where there is no room for all of it, or its lines are thinner than a pixel.
_FOLDED = (
    *("specimen", "specimen-faults", "specimen-foreseen", "measure-pass"),
    *("bench-no-answer", "logbook"),
)


def has(image: QImage, colour: str, least: int = 12) -> bool:
    """Whether enough of every second pixel have exactly that colour."""
    wanted, found = QColor(colour).rgb(), 0
    for y in range(0, image.height(), 2):
        for x in range(0, image.width(), 2):
            found += image.pixel(x, y) == wanted
            if found >= least:
                return True
    return False


@pytest.mark.parametrize(("theme", "size"), [("dark", (1280, 800)), ("light", (960, 540))])
def test_nothing_is_cut_or_overlaps_and_each_state_shows_its_marks(
    theme: str, size: tuple[int, int], tmp_path: Path, qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    qapp.setStyle("Fusion")
    load_fonts()
    studio = Studio(theme, size, tmp_path, speed=14.0)
    seen, faults = set(), []
    for screen in studio.screens():
        seen.add(screen.name)
        faults += [f"{screen.name}: {fault}" for fault in layout_faults(studio.window)]
        folded = size[1] < 700 and screen.name in _FOLDED
        for role in () if folded else _MARKS.get(screen.name, ()):
            if not has(screen.image, getattr(THEMES[theme], role)):
                faults.append(f"{screen.name}: nothing in the colour of {role}")
    gone(qapp, studio.window)
    assert set(_MARKS) <= seen
    assert "\n".join(faults) == ""
