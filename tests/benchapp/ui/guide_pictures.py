"""The pictures of the guide, drawn by the program itself.

python -m tests.benchapp.ui.guide_pictures
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from PySide6.QtWidgets import QApplication, QWidget

from benchapp.plan.prediction import predict
from benchapp.recipe import Recipe
from benchapp.ui.bench.wiring import WiringDrawing, WiringState
from benchapp.ui.guide.chapters import guide_folder
from benchapp.ui.specimen.block_picture import BlockPicture
from benchapp.ui.theme import Theme, apply_theme, load_fonts
from benchapp.ui.widgets.output_plate import OutputState


def _save(widget: QWidget, width: int, height: int, name: str) -> None:
    widget.resize(width, height)
    widget.grab().toImage().save(str(guide_folder() / f"{name}.png"))


def main() -> None:
    """Write them, in light colours."""
    application = QApplication.instance() or QApplication([])
    assert isinstance(application, QApplication)
    application.setStyle("Fusion")
    load_fonts()
    theme = Theme("light")
    apply_theme(application, theme.colours)
    block = BlockPicture(theme)
    recipe = Recipe(0.1, settle_s=0.02)
    block.show_prediction(predict(recipe), recipe.current_A, recipe.emf_order)
    _save(block, 640, 166, "block")
    wiring = WiringDrawing(theme)
    wiring.show_state(
        WiringState("specimen", "answers", "answers", True, True, OutputState.ON, 1, "+100.0 mA", "+25.2 µV")
    )
    _save(wiring, 640, 496, "wiring")
    from benchapp.ui.presentation import Trust
    from tests.benchapp.ui.gallery import Studio

    with tempfile.TemporaryDirectory() as name:
        os.environ["BENCHAPP_CONFIG"] = name
        studio = Studio("light", (1280, 800), Path(name))
        studio.run("shunt", wanted=Trust.REPEATABILITY, blocks="120")
        image = studio.shot("measure").image.scaledToWidth(760)
        image.save(str(guide_folder() / "measure.png"))
        studio.window.close()


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    main()
