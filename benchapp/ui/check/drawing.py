"""The wiring with each test's badge where it looks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.check.finding import Finding, State
from benchapp.ui.check.badges import badge_of, draw_badge
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, elided, text_at

_WIDTH, _HEIGHT = 730.0, 424.0
_LEFT, _RIGHT, _V_PLUS, _V_MINUS, _BAR = 78.0, 586.0, 178.0, 486.0, 330.0
_SOURCE, _VOLTMETER = QRectF(232, 26, 200, 96), QRectF(232, 166, 200, 84)
_PITCH = 25.0


class Place(StrEnum):
    """Where on the drawing a test looks."""

    SOURCE = "source"
    VOLTMETER = "voltmeter"
    SOURCE_LEADS = "source leads"
    SENSE_LEADS = "sense leads"
    PART = "specimen"
    CIRCUIT = "circuit"


_PLACES = {
    **dict.fromkeys(("instruments", "output before", "error queues", "due dates", "scale"), Place.SOURCE),
    **dict.fromkeys(("noise", "hum", "line frequency", "voltage and range"), Place.VOLTMETER),
    **dict.fromkeys(("EMF at zero current", "drift of the EMF", "signal", "sense pair"), Place.SENSE_LEADS),
    **dict.fromkeys(("nominal value", "power", "dry circuit"), Place.PART),
    "compliance": Place.SOURCE_LEADS,
    "settling": Place.CIRCUIT,
}


@dataclass(frozen=True, slots=True)
class Drawn:
    """What the drawing tells: texts of the two instruments, the specimen, and the tests as far as they went."""

    specimen: str = ""
    source: str = ""
    voltmeter: str = ""
    current: str = ""
    noise: str = ""
    findings: tuple[Finding, ...] = ()


class CheckDrawing(Painted):
    """Set `show_drawn`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._drawn = Drawn()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(300)
        self.setAccessibleName("wiring with the tests where they look")

    def sizeHint(self) -> QSize:
        """As drawn."""
        return QSize(round(_WIDTH), round(_HEIGHT))

    def show_drawn(self, drawn: Drawn) -> None:
        """What was found."""
        self._drawn = drawn
        failed = [f"{one.name}: {one.where}" for one in drawn.findings if one.state is State.FAILS]
        self.setAccessibleDescription("; ".join(failed) or "nothing failed")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Leads, boxes, badges, and the first failure in words where it points."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            scale = min(self.width() / _WIDTH, self.height() / _HEIGHT)
            painter.translate((self.width() - _WIDTH * scale) / 2, 0)
            painter.scale(scale, scale)
            self._paint_source_leads(painter)
            self._paint_sense_leads(painter)
            self._paint_boxes(painter)
            self._paint_specimen(painter)
            self._paint_badges(painter)
            self._paint_callout(painter)

    def _fails_at(self, *words: str) -> bool:
        return any(
            one.state is State.FAILS and any(word in one.where for word in words) for one in self._drawn.findings
        )

    def _pen(self, failed: bool, width: float, role: str) -> QPen:
        pen = QPen(self.colour("failed" if failed else role), width)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        if failed:
            pen.setDashPattern([7 / width * 1.5, 4 / width * 1.5])
        return pen

    def _paint_source_leads(self, painter: QPainter) -> None:
        failed = self._fails_at("source leads")
        painter.setPen(self._pen(failed, 5, "line"))
        y = _SOURCE.top() + 40
        painter.drawPolyline([QPointF(_SOURCE.left(), y), QPointF(_LEFT, y), QPointF(_LEFT, _BAR - 10)])
        painter.drawPolyline([QPointF(_SOURCE.right(), y), QPointF(_RIGHT, y), QPointF(_RIGHT, _BAR - 10)])
        ink = self.colour("failed" if failed else "ink")
        text_at(painter, _LEFT - 34, 120, "I +", 14, ink, bold=True)
        text_at(painter, _RIGHT + 14, 120, "I −", 14, ink, bold=True)
        for x in (_LEFT, _RIGHT):
            painter.fillRect(QRectF(x - 15, _BAR - 12, 30, 12), self.colour("failed" if failed else "line"))

    def _paint_sense_leads(self, painter: QPainter) -> None:
        # One voltmeter cannot tell which of the two is open: both are drawn so.
        failed = self._fails_at("sense leads")
        y = _VOLTMETER.top() + 40
        for x, box_x in ((_V_PLUS, _VOLTMETER.left()), (_V_MINUS, _VOLTMETER.right())):
            painter.setPen(self._pen(failed, 2, "ink"))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline([QPointF(box_x, y), QPointF(x, y), QPointF(x, _BAR - 10)])
            painter.setPen(QPen(self.colour("failed" if failed else "ink"), 1.5))
            painter.setBrush(self.colour("surface" if failed else "ink"))
            painter.drawPolygon(QPolygonF([QPointF(x, _BAR - 1), QPointF(x - 6, _BAR - 12), QPointF(x + 6, _BAR - 12)]))
        ink = self.colour("failed" if failed else "ink")
        text_at(painter, _V_PLUS - 18, y - 8, "V +", 13, ink, bold=True, align=Qt.AlignmentFlag.AlignRight)
        text_at(painter, _V_MINUS + 18, y - 8, "V −", 13, ink, bold=True)

    def _paint_boxes(self, painter: QPainter) -> None:
        drawn = self._drawn
        for area, name, lines, word in (
            (_SOURCE, "Source", (drawn.source, drawn.current), "source"),
            (_VOLTMETER, "Voltmeter", (drawn.voltmeter, drawn.noise), "voltmeter"),
        ):
            failed = any(one.state is State.FAILS and one.where == word for one in drawn.findings)
            painter.setPen(self._pen(failed, 2 if failed else 1.25, "ink" if drawn.findings else "line"))
            painter.setBrush(self.colour("raised"))
            painter.drawRoundedRect(area, 3, 3)
            text_at(painter, area.left() + 14, area.top() + 27, name, 15, self.colour("ink"), bold=True)
            for index, line in enumerate(lines):
                told = elided(line, area.width() - 28, 13)
                text_at(painter, area.left() + 14, area.top() + 48 + 21 * index, told, 13, self.colour("faint"))

    def _paint_specimen(self, painter: QPainter) -> None:
        centre = Qt.AlignmentFlag.AlignHCenter
        failed = self._fails_at("the part")
        painter.setPen(self._pen(failed, 2 if failed else 1.25, "ink"))
        painter.setBrush(self.colour("zone"))
        painter.drawRoundedRect(QRectF(46, _BAR, 572, 34), 2, 2)
        middle = (_V_PLUS + _V_MINUS) / 2
        name = elided(self._drawn.specimen or "specimen", 260, 14)
        text_at(painter, middle + 20, _BAR + 22, name, 14, self.colour("ink"), align=centre)
        painter.setPen(QPen(self.colour("line"), 1))
        y = _BAR + 56
        for x in (_V_PLUS, _V_MINUS):
            painter.drawLine(QPointF(x, y - 8), QPointF(x, y + 8))
        painter.drawLine(QPointF(_V_PLUS, y), QPointF(middle - 84, y))
        painter.drawLine(QPointF(middle + 84, y), QPointF(_V_MINUS, y))
        text_at(painter, middle, y + 5, "R between V + and V −", 13, self.colour("faint"), align=centre)

    def _paint_badges(self, painter: QPainter) -> None:
        taken: dict[Place, int] = {}
        for number, finding in enumerate(self._drawn.findings, 1):
            place = _PLACES.get(finding.name, Place.CIRCUIT)
            index = taken.get(place, 0)
            taken[place] = index + 1
            for centre in _anchors(place, index):
                draw_badge(painter, centre, number, badge_of(finding), self.theme.colours)
        if Place.CIRCUIT in taken:
            text_at(painter, 92, 414, "settling of the whole circuit", 13, self.colour("faint"))

    def _paint_callout(self, painter: QPainter) -> None:
        failed = next((one for one in self._drawn.findings if one.state is State.FAILS and one.where), None)
        if failed is None:
            return
        painter.setFont(font(13))
        text = QRectF(_RIGHT - 78, 248, 208, 200)
        wrapped = painter.boundingRect(text, int(Qt.TextFlag.TextWordWrap), failed.remedy)
        plate = QRectF(text.left() - 12, text.top() - 30, 232, wrapped.height() + 42)
        painter.setPen(QPen(self.colour("on_caution"), 1.25))
        painter.setBrush(self.colour("caution"))
        painter.drawRoundedRect(plate, 3, 3)
        ink = self.colour("on_caution")
        text_at(
            painter,
            text.left(),
            plate.top() + 21,
            elided(f"{failed.name} fails", 208, 14, bold=True),
            14,
            ink,
            bold=True,
        )
        painter.setFont(font(13))
        painter.setPen(ink)
        painter.drawText(text, int(Qt.TextFlag.TextWordWrap), failed.remedy)


def _anchors(place: Place, index: int) -> Iterable[QPointF]:
    """Where the badges of a place stand, the first at index 0."""
    step = _PITCH * index
    if place is Place.SOURCE:
        return [QPointF(_SOURCE.right() - 14 - step, _SOURCE.top())]
    if place is Place.VOLTMETER:
        return [QPointF(_VOLTMETER.right() - 14 - step, _VOLTMETER.top())]
    if place is Place.SOURCE_LEADS:
        return [QPointF(_LEFT, 150 + step)]
    if place is Place.SENSE_LEADS:
        return [QPointF(x, 222 + step) for x in (_V_PLUS, _V_MINUS)]
    if place is Place.PART:
        return [QPointF(66 + step, _BAR + 17)]
    return [QPointF(78 + step, 410)]
