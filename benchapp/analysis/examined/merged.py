"""A long run at bounded cost: cycles one after the other are averaged, those of either first sign by themselves.

All columns of the fit are the same in every cycle of one sign but for a warmth that is not yet steady, so that the mean
of many cycles says what they say, and the noise of the mean has the same shape. What the start of the run has left
behind is averaged as it decays.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchapp.analysis.examined.columns import Readings, Starts

Floats = NDArray[np.float64]
MOST_CYCLES = 128


def merged(r: Readings) -> tuple[Readings, NDArray[np.intp]]:
    """At most MOST_CYCLES cycles, and into which of them each one of `r` went."""
    count = len(r.time_s)
    if count <= MOST_CYCLES:
        return r, np.arange(count)
    slot = np.arange(count) * (MOST_CYCLES // 2) // count
    _, group = np.unique(2 * slot + r.number % 2, return_inverse=True)
    group = group.reshape(-1)
    size = np.bincount(group).astype(float)

    def mean(values: Floats) -> Floats:
        # Cycles of one group are not neighbours: both signs alternate.
        order = np.argsort(group, kind="stable")
        first = np.concatenate([[0], np.cumsum(size)[:-1]]).astype(int)
        found: Floats = np.add.reduceat(values[order], first, axis=0) / size[:, None]
        return found

    begin_s = r.time_s[:, 0] - r.time_s[0, 0]
    _, firsts = np.unique(group, return_index=True)  # of each group one has the levels and places of all
    return (
        replace(
            r,
            time_s=mean(r.time_s),
            current_A=mean(r.current_A),
            voltage_V=mean(r.voltage_V),
            level=r.level[firsts],
            change_A=mean(r.change_A),
            position=r.position[firsts],
            since_s=mean(r.since_s),
            gap_s=mean(r.gap_s),
            number=r.number[firsts],
            starts=Starts(begin_s, group),
        ),
        group,
    )
