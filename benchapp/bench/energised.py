"""Arm, on, safe, off: written once. Whatever drives a current does it through this.

The output's state is told as it is read, at once and past the record: `seen` is called with each reading of it.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import replace

from benchapp.bench import armed
from benchapp.bench.output import OutputState, state_of
from drivers.errors import InstrumentError, SettingError
from drivers.guardian import Guard, SafePlan
from drivers.roles import CurrentSource


class Energised:
    """One source with its guardian. `on` is True from before the output was ordered on until it was proved off.

    `lock`: what the guardian holds with us, so that nobody else gets the source while it may still switch off.
    `dialect`: what the next start needs to read this output, if we and the guardian are both killed.
    """

    def __init__(
        self,
        source: CurrentSource,
        guard: Guard,
        *,
        seen: Callable[[OutputState], None] = lambda state: None,
        lock: int | None = None,
        dialect: str = "scpi",
        holder: str = "",
    ) -> None:
        self._source, self._guard = source, guard
        self._seen, self._lock, self._dialect, self._holder = seen, lock, dialect, holder
        self._address = ""
        self.on = False

    def look(self) -> None:
        """Read the output and tell; not known where the driver has no way to ask, or no answer comes."""
        read = getattr(self._source, "read_output", None)
        state = OutputState.UNKNOWN
        if read is not None:
            with contextlib.suppress(InstrumentError):
                state = state_of(read())
        self._seen(state)

    def still_on(self) -> None:
        """It was just read as on."""
        self._seen(OutputState.ON)

    def switch_on(self) -> None:
        """Arm the guardian, then switch on: armed after it, a kill in between would leave the output on.

        Raises InstrumentError; a source that nobody could switch off from outside is not switched on.
        """
        self._arm()
        self._source.on_reopen(self._arm)
        self.on = True
        self._seen(OutputState.UNKNOWN)
        self._source.output_on()
        self._seen(OutputState.ON)

    def switch_off(self, on_wait: Callable[[], None] = lambda: None) -> bool:
        """Off by all means, and the guardian away once that is proved; `on_wait` must not raise."""
        self._source.watch(on_wait)
        try:
            off = self._source.safe()
        except Exception:  # noqa: BLE001  a driver's own fault: nothing is proved, and the guardian stays
            off = False
        self.on = not off
        if off:
            self._guard.disarm()  # otherwise it goes on trying for us
            if self._address:
                with contextlib.suppress(OSError):
                    armed.clear(self._address)
        self._seen(OutputState.OFF if off else OutputState.UNKNOWN)
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
            if self._guard.needs_plan:
                self._address = plan.address
                plan = replace(plan, lock=self._lock, mark=self._mark(plan))
            self._guard.arm(plan)

    def _mark(self, plan: SafePlan) -> str:
        """For the case that we and the guardian are both killed."""
        left = armed.Armed(plan.address, self._dialect, plan.identity, self._holder, time.time())
        try:
            return str(armed.mark(left))
        except OSError as error:
            raise SettingError(
                f"that its output goes on cannot be noted down ({error.strerror or error})",
                resource=plan.address,
                remedy="Let the user's data folder be written, or name another in BENCHAPP_DATA.",
            ) from error
