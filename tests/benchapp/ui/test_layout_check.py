from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from tests.benchapp.ui.layout_check import layout_faults


def test_the_check_finds_what_is_cut_overlaps_or_lies_outside(qtbot: QtBot) -> None:
    window = QWidget()
    qtbot.addWidget(window)
    row = QHBoxLayout(window)
    cut, button, other = QLabel("a long text that does not fit"), QPushButton("press here"), QLabel("x")
    for widget in (cut, button, other):
        row.addWidget(widget)
    window.resize(600, 60)
    window.show()
    assert layout_faults(window) == []
    cut.setFixedWidth(20)
    button.setGeometry(other.geometry())
    other.move(580, 10)
    found = " ".join(layout_faults(window))
    assert "cut" in found
    window.resize(601, 60)
    button.setGeometry(other.geometry().adjusted(-10, -5, 10, 5))
    assert "overlap" in " ".join(layout_faults(window))
    other.move(700, 10)
    assert "outside" in " ".join(layout_faults(window))
