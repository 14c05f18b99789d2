"""The tests as rows: badge, name, figure, limit; what failed says where it points and what to do."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.check.finding import Finding, State
from benchapp.ui.check.badges import badge_of, draw_badge
from benchapp.ui.theme import Theme, font
from benchapp.ui.widgets.painting import Painted, text_at, text_width

_WRAP = int(Qt.TextFlag.TextWordWrap)
_TEXT_LEFT = 32
_LINE, _SMALL, _GAP = 20, 13, 6


class FindingList(Painted):
    """Set `show_findings`; it is as high as its rows need."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.findings: tuple[Finding, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("tests")

    def show_findings(self, findings: tuple[Finding, ...]) -> None:
        """In the order in which they hang on one another."""
        self.findings = findings
        self.setAccessibleDescription("; ".join(f"{one.name}: {one.state}" for one in findings))
        self._fit()
        self.update()

    def sizeHint(self) -> QSize:
        """As high as the rows."""
        return QSize(380, self._height(380))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrapped at this width."""
        self._fit()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A row a test, a thin rule under each."""
        with QPainter(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            top = 0
            for number, finding in enumerate(self.findings, 1):
                height = self._row_height(finding, self.width())
                self._paint_row(painter, number, finding, top, height)
                top += height

    def _paint_row(self, painter: QPainter, number: int, finding: Finding, top: int, height: int) -> None:
        fails = finding.state is State.FAILS
        draw_badge(painter, QPointF(14, top + _GAP / 2 + _LINE / 2), number, badge_of(finding), self.theme.colours)
        ink, faint = self.colour("ink"), self.colour("faint")
        waits = finding.state in (State.WAITS, State.NOT_TESTED)
        baseline = top + _GAP / 2 + 15
        text_at(painter, _TEXT_LEFT, baseline, finding.name, 14, faint if waits else ink, bold=fails)
        figure, below = _told(finding), _below(finding, self.width())
        if figure not in below:
            align = Qt.AlignmentFlag.AlignRight
            text_at(painter, self.width() - 4, baseline, figure, _SMALL, faint if waits else ink, align=align)
        y = top + _GAP // 2 + _LINE
        painter.setFont(font(_SMALL))
        for text in below:
            area = QRect(_TEXT_LEFT, y, self.width() - _TEXT_LEFT - 4, 1000)
            painter.setPen(ink if fails else faint)
            y += painter.drawText(area, _WRAP, text).height()
        painter.setPen(QPen(self.colour("grid"), 1))
        painter.drawLine(0, top + height - 1, self.width(), top + height - 1)

    def _fit(self) -> None:
        self.setFixedHeight(max(1, self._height(self.width())))

    def _height(self, width: int) -> int:
        return sum(self._row_height(finding, width) for finding in self.findings)

    def _row_height(self, finding: Finding, width: int) -> int:
        metrics = QFontMetrics(font(_SMALL))
        area = QRect(0, 0, width - _TEXT_LEFT - 4, 1000)
        return _LINE + _GAP + sum(metrics.boundingRect(area, _WRAP, text).height() for text in _below(finding, width))


def _told(finding: Finding) -> str:
    return "waits" if finding.state is State.WAITS else finding.figure


def _below(finding: Finding, width: int) -> list[str]:
    """What stands under the name: the figure where it has no room beside it; limit, place and remedy of what failed."""
    figure, lines = _told(finding), []
    room = width - _TEXT_LEFT - text_width(finding.name, 14, bold=True) - 20
    if text_width(figure, _SMALL) > room:
        lines.append(figure)
    if finding.state is State.FAILS:
        if finding.limit:
            lines.append(f"limit: {finding.limit}")
        lines.append(f"{finding.where}: {finding.remedy}" if finding.where else finding.remedy)
    return lines
