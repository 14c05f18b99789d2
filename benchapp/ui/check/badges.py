"""The numbered badge of a test, the same on the drawing and in its row: its shape tells how the test went."""

from __future__ import annotations

from enum import StrEnum

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPen, QPolygonF

from benchapp.check.finding import Finding, State
from benchapp.result.validity import Effect
from benchapp.ui.theme import Colours
from benchapp.ui.widgets.painting import text_at

RADIUS = 10.0


class Badge(StrEnum):
    """Disc, square, triangle, ring; a ring with a dash where nothing could be tested."""

    PASSED = "passed"
    FAILED = "failed"
    DOUBT = "in doubt"
    WAITING = "waits"
    NOT_TESTED = "not tested"


def badge_of(finding: Finding) -> Badge:
    """A failed test is a square where a run would not be valid, else a triangle."""
    if finding.state is State.FAILS:
        return Badge.FAILED if finding.effect is Effect.NOT_VALID else Badge.DOUBT
    return {State.OK: Badge.PASSED, State.WAITS: Badge.WAITING}.get(finding.state, Badge.NOT_TESTED)


def draw_badge(painter: QPainter, centre: QPointF, number: int, badge: Badge, colours: Colours) -> None:
    """At a place, 20 px wide."""
    colour = colours.colour
    painter.save()
    painter.setPen(Qt.PenStyle.NoPen)
    x, y, r = centre.x(), centre.y(), RADIUS
    text_role, drop = "surface", 4.0
    if badge is Badge.PASSED:
        painter.setBrush(colour("passed"))
        painter.drawEllipse(centre, r, r)
    elif badge is Badge.FAILED:
        painter.setBrush(colour("failed"))
        painter.drawRect(QRectF(x - r, y - r, 2 * r, 2 * r))
    elif badge is Badge.DOUBT:
        painter.setPen(QPen(colour("on_caution"), 1))
        painter.setBrush(colour("caution"))
        painter.drawPolygon(QPolygonF([QPointF(x, y - 12), QPointF(x - 13, y + 10), QPointF(x + 13, y + 10)]))
        text_role, drop = "on_caution", 7.0
    else:
        style = Qt.PenStyle.SolidLine if badge is Badge.WAITING else Qt.PenStyle.DotLine
        painter.setPen(QPen(colour("faint"), 1.25, style))
        painter.setBrush(colour("surface"))
        painter.drawEllipse(centre, r - 1, r - 1)
        text_role = "faint"
    size = 11 if badge is not Badge.DOUBT else 10
    bold = badge in (Badge.PASSED, Badge.FAILED, Badge.DOUBT)
    text_at(painter, x, y + drop, str(number), size, colour(text_role), bold=bold, align=Qt.AlignmentFlag.AlignHCenter)
    painter.restore()
