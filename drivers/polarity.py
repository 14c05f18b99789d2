"""A unipolar source behind a switch that turns its polarity: the current goes to zero before the contacts move."""

from __future__ import annotations

from dataclasses import dataclass

from drivers.scpi_source import ScpiSource
from drivers.scpi_switch import ScpiSwitch


@dataclass(frozen=True, slots=True)
class Polarity:
    """The opened switch, and the channels that let the current flow one way and the other."""

    switch: ScpiSwitch
    plus: str
    minus: str


class UnipolarSource(ScpiSource):
    """See `drivers.roles.CurrentSource`; `turn_by` says which switch makes the sign."""

    bipolar = False
    _polarity: Polarity
    _channel = ""

    def turn_by(self, polarity: Polarity) -> None:
        """The switch in use. It stands open until the first step."""
        self._polarity = polarity

    def step(self, current_A: float) -> bool:
        """The magnitude as the level; where the sign changes, zero first, then the contacts, then the level."""
        wanted = self._polarity.minus if current_A < 0 else self._polarity.plus
        if current_A != 0.0 and wanted != self._channel:
            super().step(0.0)
            self._polarity.switch.connect(wanted)
            self._channel = wanted
        return super().step(abs(current_A))
