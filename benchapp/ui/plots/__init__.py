"""Plots over time; the only place that knows pyqtgraph."""
