"""The guide inside the program: method, wiring, cautions, words."""

from __future__ import annotations

from PySide6.QtWidgets import QDialog, QTextBrowser, QVBoxLayout, QWidget

from assets import asset


class GuideDialog(QDialog):
    """Not modal: it may stay open beside the work."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Guide")
        self.resize(720, 640)
        text = QTextBrowser()
        text.setAccessibleName("guide")
        text.setMarkdown(asset("guide", "guide.md").read_text("utf-8"))
        column = QVBoxLayout(self)
        column.addWidget(text)
