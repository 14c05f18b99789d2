"""Colours by role, type sizes and the style of the standard controls: the one place that names a colour."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette
from PySide6.QtWidgets import QApplication

from assets import asset

GRID = 4
MARGIN = 16
RAIL_WIDTH = 88


@dataclass(frozen=True, slots=True)
class Colours:
    """One theme. Caution is never coloured text; output on is only a plate and the window's frame."""

    name: str
    surface: str
    raised: str
    zone: str
    grid: str
    line: str
    ink: str
    faint: str
    accent: str
    positive: str
    negative: str
    emf: str
    band: str
    passed: str
    failed: str
    caution: str
    on_caution: str
    output: str
    on_output: str
    on_accent: str

    def colour(self, role: str) -> QColor:
        """The colour of a role."""
        return QColor(getattr(self, role))


DARK = Colours(
    "dark", "#14171A", "#1F2327", "#2A3036", "#343A41", "#737C86", "#F0EDE6", "#A4ABB3", "#6CD0F5", "#ED870C",
    "#888DFD", "#A8B18D", "#1F4654", "#3FB58C", "#FE4631", "#FCDA19", "#14171A", "#D963F1", "#14171A", "#14171A",
)  # fmt: skip
LIGHT = Colours(
    "light", "#F6F4EF", "#FFFFFF", "#E6E3DB", "#DAD7CF", "#7F858C", "#17191C", "#5A6068", "#017990", "#9B3F12",
    "#333287", "#6D6D65", "#BCDCE4", "#006B52", "#B20209", "#F0CC30", "#17191C", "#A81FC0", "#FFFFFF", "#FFFFFF",
)  # fmt: skip
THEMES = {theme.name: theme for theme in (DARK, LIGHT)}


class Theme(QObject):
    """The theme in use.

    Signals:
        changed: the colours are others now.
    """

    changed = Signal()

    def __init__(self, name: str = "dark") -> None:
        super().__init__()
        self.colours = THEMES[name]

    def switch(self, name: str) -> None:
        """Take another theme at once."""
        self.colours = THEMES[name]
        application = QApplication.instance()
        if isinstance(application, QApplication):
            apply_theme(application, self.colours)
        self.changed.emit()


def load_fonts() -> None:
    """Make the shipped font known, so that no installed one is needed."""
    for name in ("B612-Regular.otf", "B612-Bold.otf"):
        if QFontDatabase.addApplicationFont(str(asset("fonts", name))) < 0:
            raise RuntimeError(f"the shipped font {name} cannot be loaded")


def font(size_px: float, *, bold: bool = False) -> QFont:
    """The window's font at a size in pixels."""
    chosen = QFont(["B612", "DejaVu Sans"])
    chosen.setPixelSize(round(size_px))
    chosen.setBold(bold)
    return chosen


def apply_theme(application: QApplication, colours: Colours) -> None:
    """Give every standard control the theme's colours."""
    palette = QPalette()
    roles = {
        QPalette.ColorRole.Window: colours.surface,
        QPalette.ColorRole.WindowText: colours.ink,
        QPalette.ColorRole.Base: colours.raised,
        QPalette.ColorRole.AlternateBase: colours.zone,
        QPalette.ColorRole.Text: colours.ink,
        QPalette.ColorRole.Button: colours.surface,
        QPalette.ColorRole.ButtonText: colours.ink,
        QPalette.ColorRole.Highlight: colours.accent,
        QPalette.ColorRole.HighlightedText: colours.on_accent,
        QPalette.ColorRole.PlaceholderText: colours.faint,
        QPalette.ColorRole.ToolTipBase: colours.raised,
        QPalette.ColorRole.ToolTipText: colours.ink,
    }
    for role, colour in roles.items():
        palette.setColor(role, QColor(colour))
    application.setPalette(palette)
    application.setFont(font(14))
    sheet = _style_sheet(colours)
    if application.styleSheet() != sheet:  # every widget is polished anew
        application.setStyleSheet(sheet)


def _style_sheet(c: Colours) -> str:
    return f"""
    QWidget {{ color: {c.ink}; }}
    QMainWindow, QDialog {{ background: {c.surface}; }}
    QPushButton {{ background: transparent; border: 1px solid {c.line}; border-radius: 3px; padding: 0 12px;
        min-height: 34px; text-align: left; }}
    QPushButton:hover {{ border-color: {c.ink}; }}
    QPushButton:focus {{ border: 2px solid {c.accent}; padding: 0 11px; }}
    QPushButton:disabled {{ color: {c.faint}; border-color: {c.grid}; }}
    QPushButton[main="true"] {{ background: {c.accent}; color: {c.on_accent}; border: none; font-weight: bold; }}
    QPushButton[main="true"]:focus {{ border: 2px solid {c.ink}; }}
    QPushButton[main="true"]:disabled {{ background: transparent; color: {c.faint}; border: 1px solid {c.grid}; }}
    QPushButton[tab="true"] {{ border: none; border-bottom: 2px solid {c.grid}; border-radius: 0; padding: 0 4px;
        min-height: 26px; text-align: center; color: {c.faint}; font-size: 13px; }}
    QPushButton[tab="true"]:checked {{ color: {c.ink}; border-bottom: 2px solid {c.accent}; font-weight: bold; }}
    QPushButton[tab="true"]:focus {{ border: 2px solid {c.accent}; padding: 0 2px; }}
    QLineEdit, QComboBox {{ background: {c.surface}; border: 1px solid {c.line}; border-radius: 3px; padding: 0 8px;
        min-height: 28px; selection-background-color: {c.accent}; selection-color: {c.on_accent}; }}
    QLineEdit:focus, QComboBox:focus {{ border: 2px solid {c.accent}; padding: 0 7px; }}
    QLineEdit[faulty="true"] {{ border: 2px solid {c.failed}; padding: 0 7px; }}
    QLineEdit[planned="true"] {{ border-left: 3px solid {c.accent}; padding-left: 6px; }}
    QComboBox[on="true"] {{ border: 2px solid {c.accent}; padding: 0 7px; font-weight: bold; }}
    QComboBox[faulty="true"] {{ border: 2px solid {c.failed}; padding: 0 7px; }}
    QCheckBox::indicator {{ width: 13px; height: 13px; border: 1px solid {c.faint}; border-radius: 2px;
        background: {c.surface}; }}
    QCheckBox::indicator:checked {{ border-color: {c.accent}; background: {c.accent}; }}
    QRadioButton::indicator {{ width: 13px; height: 13px; border: 1px solid {c.faint}; border-radius: 7px;
        background: {c.surface}; }}
    QRadioButton::indicator:checked {{ border: 4px solid {c.accent}; width: 7px; height: 7px; }}
    QComboBox::drop-down {{ border: none; width: 24px; }}
    QComboBox::down-arrow {{ image: url("{asset("icons", "down.svg").as_posix()}"); width: 12px; height: 12px; }}
    QComboBox QAbstractItemView {{ background: {c.raised}; border: 1px solid {c.line}; outline: none; }}
    QListWidget {{ background: transparent; border: none; outline: none; }}
    QListWidget::item {{ padding: 6px 8px; }}
    QListWidget::item:selected {{ background: {c.zone}; color: {c.ink}; border-left: 4px solid {c.accent}; }}
    QFrame#rule {{ background: {c.grid}; border: none; }}
    QMenu {{ background: {c.raised}; border: 1px solid {c.line}; padding: 4px; }}
    QMenu::item {{ padding: 6px 24px; }}
    QMenu::item:selected {{ background: {c.accent}; color: {c.on_accent}; }}
    QMenu::item:disabled {{ color: {c.faint}; }}
    QTableView {{ background: {c.surface}; border: none; gridline-color: {c.grid}; selection-background-color: {c.zone};
        selection-color: {c.ink}; outline: none; }}
    QPushButton[word="true"] {{ background: transparent; border: none; border-bottom: 2px solid transparent;
        color: {c.faint}; padding: 0 5px 1px 5px; min-height: 0; font-size: 13px; font-weight: normal; }}
    QPushButton[word="true"]:checked {{ color: {c.ink}; border-bottom: 2px solid {c.accent}; font-weight: bold; }}
    QHeaderView::section {{ background: {c.surface}; color: {c.faint}; border: none;
        border-bottom: 1px solid {c.line}; padding: 6px 12px; }}
    QScrollBar:vertical {{ background: {c.surface}; width: 10px; }}
    QScrollBar::handle:vertical {{ background: {c.line}; border-radius: 4px; min-height: 32px; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
    QTextBrowser, QPlainTextEdit {{ background: {c.raised}; border: 1px solid {c.grid}; padding: 8px; }}
    QToolTip {{ background: {c.raised}; color: {c.ink}; border: 1px solid {c.line}; padding: 4px; }}
    QFrame#card {{ background: {c.raised}; border-radius: 4px; }}
    QLabel[role="faint"] {{ color: {c.faint}; font-size: 12px; }}
    QLabel[role="fault"] {{ color: {c.failed}; font-size: 12px; }}
    QLabel[role="title"] {{ font-weight: bold; }}
    """
