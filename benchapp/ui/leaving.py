"""The question before a window closes over a run that could do without it."""

from __future__ import annotations

from enum import Enum

from PySide6.QtWidgets import QMessageBox, QWidget

from benchapp.quantity import engineering
from benchapp.recipe import Recipe, StopRule


class Leaving(Enum):
    """What the operator wants."""

    END = "end the run"
    LET_IT_RUN = "let it go on"
    STAY = "stay"


def ask_leaving(recipe: Recipe, parent: QWidget) -> Leaving:
    """Ask; a run without an end of its own is not left alone."""
    box = QMessageBox(parent)
    box.setWindowTitle("A run is under way")
    current = engineering(recipe.current_A, "A", 3)
    text = f"{current} flows through the specimen. "
    endless = recipe.stop == StopRule(None)
    if endless:
        text += "It has no planned end, so it cannot be left alone."
    else:
        text += (
            "Without a window it goes on to its planned end, and then the output goes off; the next window shows it"
            " again. Leave it alone only where nobody can touch the circuit."
        )
    box.setText(text)
    end = box.addButton("End the run", QMessageBox.ButtonRole.DestructiveRole)
    on = None if endless else box.addButton("Let it go on", QMessageBox.ButtonRole.AcceptRole)
    stay = box.addButton("Stay", QMessageBox.ButtonRole.RejectRole)
    box.setDefaultButton(stay)
    box.exec()
    pressed = box.clickedButton()
    return Leaving.END if pressed is end else Leaving.LET_IT_RUN if on is not None and pressed is on else Leaving.STAY
