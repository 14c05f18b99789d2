"""A plot without menus, buttons and frame: what the library offers beside the picture is left at the door."""

from __future__ import annotations

import pyqtgraph as pg


def bare_plot(
    left: pg.AxisItem | None = None, bottom: pg.AxisItem | None = None, *, movable: bool = False
) -> pg.PlotWidget:
    """With these axes; `movable`: the view can be dragged and zoomed."""
    axes = {side: axis for side, axis in (("left", left), ("bottom", bottom)) if axis is not None}
    # Menus that nobody sees would be a hundred widgets a plot.
    plot = pg.PlotWidget(axisItems=axes, enableMenu=False)
    plot.hideButtons()
    plot.setFrameShape(plot.Shape.NoFrame)
    if not movable:
        plot.setMouseEnabled(x=False, y=False)
    return plot
