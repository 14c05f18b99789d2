"""Several parts on one scanner: which of them is in the circuit, and what its contacts add."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sim.world.config import Part, Specimen

_STILL = 1e-3  # of the largest current ever, below which contacts may move


class Fixture:
    """The parts of a bench. `moved_hot` counts contacts that moved under current, `together` two closed at a time."""

    def __init__(self, specimen: Specimen, parts: Sequence[Part], rng: np.random.Generator) -> None:
        self._specimen, self._parts, self._rng = specimen, tuple(parts), rng
        self._warmth_K = [0.0] * len(self._parts)
        self._closed_s = 0.0
        self._largest_A = 0.0
        self.number: int | None = None  # of the part that is connected, from 0
        self.moved_hot = self.together = 0

    @property
    def open(self) -> bool:
        """Whether there are parts and none is connected."""
        return bool(self._parts) and self.number is None

    @property
    def largest_A(self) -> float:
        """The largest current that was ever asked of the source to flow."""
        return self._largest_A

    def flows(self, current_A: float) -> None:
        """So much may flow at a time."""
        self._largest_A = max(self._largest_A, abs(current_A))

    def connect(
        self, closed: frozenset[int], time_s: float, flowing_A: float, rise_K: float
    ) -> tuple[Specimen, float] | None:
        """Channels from 1 on are closed; the part that is in the circuit now with its warmth, None for none."""
        if abs(flowing_A) > _STILL * self._largest_A:
            self.moved_hot += 1
        if self.number is not None:
            self._warmth_K[self.number] = rise_K
        self.together += len(closed) > 1
        self.number = min(closed) - 1 if closed else None
        if self.number is None:
            return None
        part = self._parts[self.number]
        self._closed_s = time_s
        changed = part.resistance_ohm + part.reconnecting_ohm * float(self._rng.standard_normal())
        return replace(self._specimen, resistance_ohm=changed), self._warmth_K[self.number]

    def mean_emf_V(self, start_s: float, end_s: float) -> float:
        """Mean over [start, end] of what the part's own contacts add: they have warmed in closing."""
        if self.number is None:
            return 0.0
        part, tau = self._parts[self.number], self._parts[self.number].closing_time_constant_s
        a, b = max(0.0, start_s - self._closed_s), max(0.0, end_s - self._closed_s)
        if not part.closing_emf_V or b <= a:
            return part.emf_V
        return part.emf_V + part.closing_emf_V * tau / (b - a) * (math.exp(-a / tau) - math.exp(-b / tau))
