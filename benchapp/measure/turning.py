"""Parts on a scanner in turns: whose turn it is, and when the contacts may move."""

from __future__ import annotations

from collections.abc import Callable

from benchapp.recipe import Recipe
from drivers.errors import SettingError
from drivers.roles import Switch

_ZERO = 0.01  # of the current: more than that, measured, is no zero


class Turning:
    """Used by the thread that measures. `name` is the part that is connected, `turn` its turn, from 0."""

    def __init__(self, scanner: Switch, recipe: Recipe) -> None:
        self._scanner, self._recipe = scanner, recipe
        self.turn = 0

    @property
    def name(self) -> str:
        """The part whose turn it is."""
        return self._recipe.channel(self.turn).name

    @property
    def first_time(self) -> bool:
        """Whether this part is connected for the first time."""
        return self.turn < len(self._recipe.channels)

    def is_over(self, readings: int) -> bool:
        """Whether the turn has all its readings."""
        return readings >= (self.turn + 1) * self._recipe.readings_a_turn

    @property
    def was_last(self) -> str:
        """Why the run ends with this turn; empty where another one comes."""
        if self.turn + 1 < self._recipe.turns:
            return ""
        rounds = self._recipe.stop.rounds
        return f"{rounds} round{'' if rounds == 1 else 's'} of {len(self._recipe.channels)} parts taken"

    def connect(self) -> None:
        """Close this turn's channel, every other open; the output is off. Raises InstrumentError."""
        self._scanner.connect(self._recipe.channel(self.turn).number)

    def move(self, to_zero: Callable[[], float | None]) -> None:
        """The next turn's part. `to_zero` ends the current, proves it, and gives what still flows where that is
        measured; the contacts break before they make. Raises InstrumentError.
        """
        left_A = to_zero()
        if left_A is not None and abs(left_A) > _ZERO * self._recipe.current_A:
            raise SettingError(
                f"{left_A:.3g} A still flow where the current was set to zero: no contact was moved",
                resource="scanner",
                remedy="Check the source, and the resistor that measures its current.",
            )
        self.turn += 1
        self.connect()
