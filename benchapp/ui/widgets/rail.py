"""The rail at the left edge: the stages in the order of the work, the menu, the output plate."""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache

from PySide6.QtCore import QByteArray, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtSvg import QSvgRenderer
from PySide6.QtWidgets import QPushButton, QSizePolicy, QVBoxLayout, QWidget

from assets import asset
from benchapp.ui.theme import RAIL_WIDTH, Theme
from benchapp.ui.widgets.controls import set_tip
from benchapp.ui.widgets.output_plate import OutputPlate
from benchapp.ui.widgets.painting import Painted, text_at


class StageName(StrEnum):
    """The stages, in the order of the work."""

    SPECIMEN = "Specimen"
    BENCH = "Bench"
    CHECK = "Check"
    MEASURE = "Measure"
    STUDY = "Study"
    LOGBOOK = "Logbook"

    @property
    def keys(self) -> str:
        """What shows the stage; five is kept for a stage of series."""
        numbers = {"Specimen": 1, "Bench": 2, "Check": 3, "Measure": 4, "Study": 6, "Logbook": 7}
        return f"Ctrl+{numbers[self]}"


@lru_cache(maxsize=32)
def _icon(name: str, ink: str) -> QSvgRenderer:
    """An icon of ours in a colour; the files say INK where the colour goes."""
    text = asset("icons", f"{name.lower()}.svg").read_text("utf-8").replace("INK", ink)
    return QSvgRenderer(QByteArray(text.encode("utf-8")))


_HIGH, _LOW, _ROOM_FOR_HIGH = 76, 42, 720  # px


class StageTab(Painted):
    """One stage's place in the rail: its icon, its name, and whether it is done.

    Signals:
        chosen: the operator wants this stage.
    """

    chosen = Signal()

    def __init__(self, theme: Theme, name: StageName, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._name = name
        self._active = False
        self._done = self._low = False
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName(f"stage {name}")
        set_tip(self, f"{name} ({name.keys})")

    def sizeHint(self) -> QSize:
        """As wide as the rail."""
        return QSize(RAIL_WIDTH, _HIGH)

    def set_low(self, low: bool) -> None:
        """Less high where the window is."""
        self._low = low
        self.setFixedSize(RAIL_WIDTH, _LOW if low else _HIGH)

    def set_active(self, active: bool) -> None:
        """Whether it is the stage that is shown."""
        self._active = active
        self.update()

    def set_done(self, done: bool) -> None:
        """Whether the stage is complete."""
        if done != self._done:
            self._done = done
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The stage that is shown has the surface's colour and an accent bar."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.fillRect(self.rect(), self.colour("surface" if self._active else "raised"))
            if self._active:
                painter.fillRect(0, 0, 4, self.height(), self.colour("accent"))
            if self.hasFocus():
                painter.setPen(QPen(self.colour("accent"), 2))
                painter.drawRect(QRectF(self.rect()).adjusted(2, 2, -2, -2))
            place = QRectF(33, 4, 22, 19) if self._low else QRectF(25, 12, 38, 33)
            _icon(self._name, self.theme.colours.ink).render(painter, place)
            role = "ink" if self._active else "faint"
            centre = Qt.AlignmentFlag.AlignHCenter
            text_at(
                painter, 44, 37 if self._low else 62, self._name, 12, self.colour(role), bold=self._active, align=centre
            )
            if self._done:
                painter.setPen(QPen(self.colour("passed"), 2))
                painter.drawPolyline([QRectF(70, 12, 4, 4).center(), QRectF(73, 16, 4, 4).center()])
                painter.drawLine(QRectF(73, 16, 4, 4).center(), QRectF(80, 8, 4, 4).center())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A click."""
        self.chosen.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Space and Return act as a click."""
        if event.key() in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.chosen.emit()
        else:
            super().keyPressEvent(event)


class Rail(Painted):
    """Tabs above, menu and plate below."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.setFixedWidth(RAIL_WIDTH)
        self.plate = OutputPlate(theme)
        self.tabs = {name: StageTab(theme, name) for name in StageName}
        self.menu_button = QPushButton("Menu")
        self.menu_button.setAccessibleName("menu of all commands")
        set_tip(self.menu_button, "All commands with their keys (F10)")
        self.menu_button.setStyleSheet("QPushButton { text-align: center; padding: 0; min-height: 26px; }")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 8, 0, 8)
        column.setSpacing(4)
        for tab in self.tabs.values():
            column.addWidget(tab)
        column.addStretch(1)
        for widget in (self.menu_button, self.plate):
            row = QVBoxLayout()
            row.setContentsMargins(6, 0, 6, 0)
            row.addWidget(widget)
            column.addLayout(row)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Lower tabs where there is no room; the plate never folds."""
        for tab in self.tabs.values():
            tab.set_low(event.size().height() < _ROOM_FOR_HIGH)

    def show_stage(self, name: StageName) -> None:
        """Which stage is shown."""
        for other, tab in self.tabs.items():
            tab.set_active(other is name)

    def paintEvent(self, event: QPaintEvent) -> None:
        """A raised field with a line at its right."""
        with QPainter(self) as painter:
            painter.fillRect(self.rect(), self.colour("raised"))
            painter.fillRect(self.width() - 1, 0, 1, self.height(), self.colour("grid"))
