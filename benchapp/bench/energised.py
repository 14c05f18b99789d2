"""Arm, on, safe, off: written once. Whatever drives a current does it through this."""

from __future__ import annotations

from collections.abc import Callable

from drivers.errors import SettingError
from drivers.guardian import Guard
from drivers.roles import CurrentSource


class Energised:
    """One source with its guardian. `on` is True from before the output was ordered on until it was proved off."""

    def __init__(self, source: CurrentSource, guard: Guard) -> None:
        self._source, self._guard = source, guard
        self.on = False

    def switch_on(self) -> None:
        """Arm the guardian, then switch on: armed after it, a kill in between would leave the output on.

        Raises InstrumentError; a source that nobody could switch off from outside is not switched on.
        """
        self._arm()
        self._source.on_reopen(self._arm)
        self.on = True
        self._source.output_on()

    def switch_off(self, on_wait: Callable[[], None] = lambda: None) -> bool:
        """Off by all means, and the guardian away once that is proved; `on_wait` must not raise."""
        self._source.watch(on_wait)
        off = self._source.safe()
        self.on = not off
        if off:
            self._guard.disarm()  # otherwise it goes on trying for us
        return off

    def _arm(self) -> None:
        plan = self._source.safe_plan()
        if plan is None and self._guard.needs_plan:
            raise SettingError(
                "nobody could switch this source off if the program died: its driver tells no safe plan",
                resource=self._source.identity,
                remedy="Let the driver's safe_plan say how to switch it off from outside.",
            )
        if plan is not None:
            self._guard.arm(plan)
