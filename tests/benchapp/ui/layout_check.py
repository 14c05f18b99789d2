"""Is anything cut off, or lying over something else?"""

from __future__ import annotations

from PySide6.QtCore import QRect
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QLabel, QPushButton, QScrollArea, QStackedWidget, QWidget


def layout_faults(window: QWidget) -> list[str]:
    """What is wrong with the widgets that can be seen."""
    return [*_cut(window), *_overlapping(window), *_outside(window)]


def _cut(window: QWidget) -> list[str]:
    faults = []
    for label in window.findChildren(QLabel):
        if label.isVisible() and label.text() and not label.wordWrap() and "<" not in label.text():
            needed = QFontMetrics(label.font()).boundingRect(QRect(0, 0, 9999, 9999), 0, label.text()).width()
            if needed > label.width() + 2:
                faults.append(f"cut: {label.text()!r} needs {needed} px and has {label.width()}")
    for button in window.findChildren(QPushButton):
        if button.isVisible():
            needed = QFontMetrics(button.font()).horizontalAdvance(button.text())
            if needed > button.width() - 8:
                faults.append(f"cut: button {button.text()!r} needs {needed} px and has {button.width()}")
    return faults


def _overlapping(window: QWidget) -> list[str]:
    faults = []
    for parent in [window, *window.findChildren(QWidget)]:
        layout = parent.layout()
        if isinstance(parent, QStackedWidget) or layout is None or not parent.isVisible():
            continue
        children = [
            child for child in parent.children()
            if isinstance(child, QWidget) and child.isVisible() and layout.indexOf(child) >= 0
        ]  # fmt: skip
        for index, child in enumerate(children):
            for other in children[index + 1 :]:
                common = child.geometry().intersected(other.geometry())
                if common.width() > 1 and common.height() > 1:
                    faults.append(f"overlap: {child.accessibleName() or child} and {other.accessibleName() or other}")
    return faults


def _scrolled(child: QWidget) -> bool:
    """Whether it can be scrolled into sight."""
    parent = child.parentWidget()
    while parent is not None:
        if isinstance(parent, QScrollArea):
            return True
        parent = parent.parentWidget()
    return False


def _outside(window: QWidget) -> list[str]:
    faults = []
    whole = QRect(0, 0, window.width(), window.height())
    for child in window.findChildren(QWidget):
        if _scrolled(child):
            continue
        if child.isVisible() and child.window() is window and isinstance(child, QLabel | QPushButton):
            place = QRect(child.mapTo(window, child.rect().topLeft()), child.size())
            if not whole.contains(place):
                faults.append(f"outside the window: {child.accessibleName() or child}")
    return faults
