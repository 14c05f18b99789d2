"""The blocks' values as a histogram lying on its side, on the resistance axis of the plot at its left."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSize
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from benchapp.analysis.histogram import GrowingHistogram
from benchapp.ui.theme import Theme
from benchapp.ui.widgets.painting import Painted, text_at


class BlockHistogram(Painted):
    """Bars in the band's colour, the normal curve in ink, the mean as a line."""

    def __init__(self, theme: Theme, plot: Any, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._plot = plot
        self._counts = GrowingHistogram()
        self._mean = math.nan
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("histogram of the blocks")

    def sizeHint(self) -> QSize:
        """Beside the plot."""
        return QSize(120, 200)

    def clear(self) -> None:
        """No blocks."""
        self._counts = GrowingHistogram()
        self._mean = math.nan
        self.update()

    def add(self, values: NDArray[np.float64], mean: float) -> None:
        """More blocks, and their mean so far."""
        self._counts.extend(values)
        self._mean = mean

    def paintEvent(self, event: QPaintEvent) -> None:
        """On the plot's own vertical scale."""
        counts = self._counts
        with QPainter(self) as painter:
            if counts.total < 5:
                return
            box = self._plot.getViewBox().sceneBoundingRect()
            low, high = self._plot.viewRange()[1]

            def y(value: float) -> float:
                return float(box.bottom() - (value - low) / (high - low) * box.height())

            painter.setClipRect(QRectF(0, box.top(), self.width(), box.height()))
            room = self.width() - 14
            most = max(counts.counts.max(), counts.normal_peak())
            for edge, count in zip(counts.edges[:-1], counts.counts, strict=True):
                if count:
                    top, bottom = y(edge + counts.width), y(edge)
                    area = QRectF(0, top, room * count / most, max(1.0, bottom - top - 0.5))
                    painter.fillRect(area, self.colour("band"))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(QPen(self.colour("ink"), 1))
            path = QPainterPath()
            for step, (value, count) in enumerate(zip(*counts.normal_curve(), strict=True)):
                point = QPointF(room * count / most, y(value))
                path.lineTo(point) if step else path.moveTo(point)
            painter.drawPath(path)
            painter.setPen(QPen(self.colour("accent"), 2))
            painter.drawLine(QPointF(0, y(self._mean)), QPointF(room, y(self._mean)))
            painter.setClipping(False)
            painter.fillRect(QRectF(0, box.top(), 1, box.height()), self.colour("line"))
            text_at(painter, 8, box.top() + 12, f"{counts.total} blocks", 12, self.colour("faint"))
