"""All readings and blocks of a run as columns that only grow; a reader takes the first n, which never change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.running_blocks import ClosedBlock
from benchapp.events import Reading, Temperature

Column = NDArray[np.float64]


class Columns:
    """Float columns of equal length that double when they are full. One writer; any number of readers."""

    def __init__(self, width: int) -> None:
        self._data = np.empty((width, 1024))
        self.count = 0

    def extend(self, rows: Sequence[Sequence[float]]) -> None:
        """Add rows; the count is raised last, so that a reader never sees a row half written."""
        if rows:
            self.append(np.array(rows, dtype=float).T)

    def append(self, added: NDArray[np.float64]) -> None:
        """Add columns (width, n), in the same order."""
        end = self.count + added.shape[1]
        if end > self._data.shape[1]:
            grown = np.empty((self._data.shape[0], max(end, 2 * self._data.shape[1])))
            grown[:, : self.count] = self._data[:, : self.count]
            self._data = grown
        self._data[:, self.count : end] = added
        self.count = end

    def since(self, first: int) -> NDArray[np.float64]:
        """Rows from `first` on as (width, n); a view."""
        count = self.count
        return self._data[:, first:count]


class History:
    """`readings`: time_s, current_A, voltage_V. `blocks`: the numbers of a ClosedBlock, in its order. `temperatures`:
    time_s, degrees Celsius.

    `cuts` are numbers of readings before which the sequence is cut: a pause, a gap in time.
    """

    def __init__(self) -> None:
        self.cuts: list[int] = []
        self.readings = Columns(3)
        self.blocks = Columns(len(ClosedBlock._fields))
        self.temperatures = Columns(2)

    def extend(
        self,
        readings: Sequence[Reading],
        blocks: Sequence[ClosedBlock],
        cuts: Sequence[int] = (),
        temperatures: Sequence[Temperature] = (),
    ) -> None:
        """Add what has been written down; the readings last, so that a reader has what belongs to them."""
        self.temperatures.extend(temperatures)
        self.cuts.extend(cuts)
        self.blocks.extend(blocks)
        self.readings.extend([reading[1:] for reading in readings])

    def append(
        self, readings: Column, blocks: Column, cuts: Sequence[int] = (), temperatures: Column | None = None
    ) -> None:
        """The same, as columns."""
        if temperatures is not None:
            self.temperatures.append(temperatures)
        self.cuts.extend(cuts)
        self.blocks.append(blocks)
        self.readings.append(readings)
