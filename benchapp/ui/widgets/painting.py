"""Painting that several widgets share: a base with the theme, text at a baseline, a hatch."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPainter, QPainterPath, QPen
from PySide6.QtWidgets import QWidget

from benchapp.ui.theme import Theme, font


class Painted(QWidget):
    """A widget that paints itself in the theme's colours and again when they change."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        theme.changed.connect(self.update)

    def colour(self, role: str) -> QColor:
        """The theme's colour of a role."""
        return self.theme.colours.colour(role)


def text_at(
    painter: QPainter,
    x: float,
    baseline: float,
    text: str,
    size_px: float,
    colour: QColor,
    *,
    bold: bool = False,
    align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
) -> float:
    """Draw text on a baseline; its width."""
    painter.setFont(font(size_px, bold=bold))
    painter.setPen(colour)
    width = QFontMetricsF(painter.font()).horizontalAdvance(text)
    if align == Qt.AlignmentFlag.AlignRight:
        x -= width
    elif align == Qt.AlignmentFlag.AlignHCenter:
        x -= width / 2
    painter.drawText(QPointF(x, baseline), text)
    return width


def text_width(text: str, size_px: float, *, bold: bool = False) -> float:
    """Width of a text in pixels."""
    return QFontMetricsF(font(size_px, bold=bold)).horizontalAdvance(text)


def elided(text: str, width: float, size_px: float, *, bold: bool = False) -> str:
    """`text`, shortened in its middle where it is wider than `width`."""
    return QFontMetricsF(font(size_px, bold=bold)).elidedText(text, Qt.TextElideMode.ElideMiddle, width)


def hatch(painter: QPainter, area: QRectF, colour: QColor) -> None:
    """Lines at 45 degrees, 6 px apart."""
    painter.save()
    painter.setClipRect(area, Qt.ClipOperation.IntersectClip)
    painter.setPen(QPen(colour, 1.0))
    pitch = 6 * 2**0.5
    x = area.left() - area.height()
    while x < area.right():
        painter.drawLine(QPointF(x, area.bottom()), QPointF(x + area.height(), area.top()))
        x += pitch
    painter.restore()


def verdict_mark(painter: QPainter, centre: QPointF, size: float, verdict: str, colours: dict[str, QColor]) -> None:
    """Disc with tick, square with cross, half-filled diamond, not-equal sign, or a dash; in outline where `colours` has
    "outline".
    """
    r = size / 2
    outline = "outline" in colours
    path = QPainterPath()
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    mark = colours["mark"]
    body = QPen(mark, max(2.0, size / 16))
    body.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    inner = QPen(mark if outline else colours["surface"], size / 9)
    inner.setCapStyle(Qt.PenCapStyle.FlatCap)
    fill = Qt.BrushStyle.NoBrush if outline else QBrush(mark)
    if verdict == "pass":
        painter.setPen(body)
        painter.setBrush(fill)
        painter.drawEllipse(centre, r - 1, r - 1)
        path.moveTo(centre.x() - 0.45 * r, centre.y() + 0.02 * r)
        path.lineTo(centre.x() - 0.12 * r, centre.y() + 0.38 * r)
        path.lineTo(centre.x() + 0.48 * r, centre.y() - 0.38 * r)
    elif verdict == "fail":
        painter.setPen(body)
        painter.setBrush(fill)
        s = 0.86 * r
        painter.drawRoundedRect(QRectF(centre.x() - s, centre.y() - s, 2 * s, 2 * s), 2, 2)
        for sign in (1, -1):
            path.moveTo(centre.x() - 0.42 * r, centre.y() - sign * 0.42 * r)
            path.lineTo(centre.x() + 0.42 * r, centre.y() + sign * 0.42 * r)
    elif verdict == "undecided":
        half = QPainterPath(QPointF(centre.x(), centre.y() - r))
        half.lineTo(centre.x() - r, centre.y())
        half.lineTo(centre.x(), centre.y() + r)
        half.closeSubpath()
        painter.fillPath(half, mark)
        whole = QPainterPath(QPointF(centre.x(), centre.y() - r))
        for dx, dy in ((r, 0), (0, r), (-r, 0), (0, -r)):
            whole.lineTo(centre.x() + dx, centre.y() + dy)
        painter.strokePath(whole, body)
    elif verdict == "not-valid":  # not equal: open, where pass and fail are closed
        for dy in (-0.3 * r, 0.3 * r):
            path.moveTo(centre.x() - 0.9 * r, centre.y() + dy)
            path.lineTo(centre.x() + 0.9 * r, centre.y() + dy)
        path.moveTo(centre.x() - 0.45 * r, centre.y() + 0.95 * r)
        path.lineTo(centre.x() + 0.45 * r, centre.y() - 0.95 * r)
        inner = QPen(mark, size / 9)
    else:
        path.moveTo(centre.x() - r * 0.5, centre.y())
        path.lineTo(centre.x() + r * 0.5, centre.y())
        inner = QPen(mark, size / 12)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.strokePath(path, inner)
    painter.restore()
