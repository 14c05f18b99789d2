"""The wiring as a drawing that lives: source leads outside, sense leads inside, the current's direction, the states."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.ui.theme import Theme
from benchapp.ui.widgets.output_plate import OutputState
from benchapp.ui.widgets.painting import Painted, elided, text_at


@dataclass(frozen=True, slots=True)
class WiringState:
    """What is known of the bench. `sign` is that of the current: 1, -1 or 0."""

    specimen: str = ""
    source: str = "not asked yet"
    voltmeter: str = "not asked yet"
    source_answers: bool | None = None
    voltmeter_answers: bool | None = None
    output: OutputState = OutputState.NONE
    sign: int = 0
    current: str = ""
    reading: str = ""


class WiringDrawing(Painted):
    """Set `show_state`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._state = WiringState()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("wiring")

    def sizeHint(self) -> QSize:
        """As drawn."""
        return QSize(800, 620)

    def show_state(self, state: WiringState) -> None:
        """The bench as it is now."""
        if state != self._state:
            self._state = state
            direction = {1: "from I+ to I−", -1: "from I− to I+", 0: "none"}[state.sign]
            self.setAccessibleDescription(
                f"source {state.source}, voltmeter {state.voltmeter}, output {state.output}, current {direction}"
            )
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Leads first, then what they connect."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            scale = min(self.width() / 800, self.height() / 620)
            painter.translate((self.width() - 800 * scale) / 2, 0)
            painter.scale(scale, scale)
            self._paint_source_leads(painter)
            self._paint_sense_leads(painter)
            self._paint_specimen(painter)
            self._paint_boxes(painter)

    @property
    def _live(self) -> bool:
        return self._state.output is OutputState.ON and self._state.sign != 0

    def _source_role(self) -> str:
        if not self._live:
            return "line"
        return "positive" if self._state.sign > 0 else "negative"

    def _paint_source_leads(self, painter: QPainter) -> None:
        role = self._source_role()
        pen = QPen(self.colour(role), 5)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        painter.setPen(pen)
        left, right, top, bottom = 60.0, 740.0, 90.0, 512.0
        painter.drawPolyline([QPointF(270, top), QPointF(left, top), QPointF(left, bottom)])
        painter.drawPolyline([QPointF(530, top), QPointF(right, top), QPointF(right, bottom)])
        label = self.colour(role if self._live else "ink")
        text_at(painter, left - 38, 300, "I +", 15, label, bold=True)
        text_at(painter, right + 14, 300, "I −", 15, label, bold=True)
        for x in (left, right):
            painter.fillRect(QRectF(x - 14, bottom - 6, 28, 14), self.colour(role))
        if self._live:
            down = self._state.sign > 0
            for x, is_left in ((left, True), (right, False)):
                for y in (190.0, 400.0):
                    self._arrow(painter, QPointF(x, y), (0, 1 if down is is_left else -1), role)

    def _arrow(self, painter: QPainter, at: QPointF, direction: tuple[float, float], role: str) -> None:
        dx, dy = direction
        tip = QPointF(at.x() + 10 * dx, at.y() + 10 * dy)
        side = QPointF(-dy * 9, dx * 9)
        back = QPointF(at.x() - 8 * dx, at.y() - 8 * dy)
        painter.setPen(QPen(self.colour("surface"), 2))
        painter.setBrush(self.colour(role))
        painter.drawPolygon(QPolygonF([tip, back + side, back - side]))

    def _paint_sense_leads(self, painter: QPainter) -> None:
        pen = QPen(self.colour("ink"), 2)
        if self._state.voltmeter_answers is False:
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        for x, box_x, name, side in ((240.0, 285.0, "V +", 12), (560.0, 515.0, "V −", 12)):
            painter.setPen(pen)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline([QPointF(box_x, 300), QPointF(x, 300), QPointF(x, 506)])
            self._arrow(painter, QPointF(x, 504), (0, 1), "ink")
            text_at(painter, x + side, 420, name, 15, self.colour("ink"), bold=True)

    def _paint_specimen(self, painter: QPainter) -> None:
        painter.setPen(QPen(self.colour("ink"), 1.5))
        painter.setBrush(self.colour("zone"))
        painter.drawRoundedRect(QRectF(20, 518, 760, 34), 2, 2)
        centre = Qt.AlignmentFlag.AlignHCenter
        name = elided(self._state.specimen or "specimen", 420, 15)
        text_at(painter, 400, 540, name, 15, self.colour("ink"), align=centre)
        if self._live:
            forward = self._state.sign > 0
            for x in (120.0, 660.0):
                role = self._source_role()
                painter.setPen(QPen(self.colour(role), 3))
                painter.drawLine(QPointF(x - 40, 535), QPointF(x + 40, 535))
                self._arrow(painter, QPointF(x + (40 if forward else -40), 535), (1 if forward else -1, 0), role)
        painter.setPen(QPen(self.colour("line"), 1))
        for x in (240.0, 560.0):
            painter.drawLine(QPointF(x, 568), QPointF(x, 584))
        painter.drawLine(QPointF(240, 576), QPointF(310, 576))
        painter.drawLine(QPointF(490, 576), QPointF(560, 576))
        text_at(painter, 400, 581, "R between V + and V −", 14, self.colour("faint"), align=centre)

    def _paint_boxes(self, painter: QPainter) -> None:
        s = self._state
        on = s.output is OutputState.ON
        output = {OutputState.ON: "on"}.get(s.output, str(s.output))
        self._box(
            painter, QRectF(270, 40, 260, 104), "Source", s.source, s.source_answers,
            (("output", output, "output" if on else "ink"), ("current", s.current or "–", "ink")),
            edge="output" if on else None,
        )  # fmt: skip
        self._box(
            painter, QRectF(285, 250, 230, 104), "Voltmeter", s.voltmeter, s.voltmeter_answers,
            (("reading", s.reading or "–", "ink"),),
        )  # fmt: skip

    def _box(
        self,
        painter: QPainter,
        area: QRectF,
        name: str,
        state: str,
        answers: bool | None,
        rows: tuple[tuple[str, str, str], ...],
        edge: str | None = None,
    ) -> None:
        role = edge or ("failed" if answers is False else "ink" if answers else "line")
        pen = QPen(self.colour(role), 2 if edge or answers is False else 1.25)
        if answers is False:
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(self.colour("raised"))
        painter.drawRoundedRect(area, 4, 4)
        left, right = area.left() + 18, area.right() - 18
        align = Qt.AlignmentFlag.AlignRight
        ink, faint = self.colour("ink"), self.colour("faint")
        text_at(painter, left, area.top() + 28, name, 16, ink, bold=True)
        told = self.colour("failed") if answers is False else faint
        text_at(painter, right, area.top() + 28, elided(state, 120, 13), 13, told, align=align)
        for index, (label, value, value_role) in enumerate(rows):
            y = area.top() + 58 + 28 * index
            text_at(painter, left, y, label, 14, faint)
            # The output's colour is for plates only: here the word stands in ink, bold.
            bold = value_role == "output"
            text_at(painter, right, y, value, 16, ink if bold else self.colour(value_role), bold=bold, align=align)
