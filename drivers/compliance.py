"""A source's voltage limit: as it is set and read back, in steps, fixed by its make, or set by hand on its front panel.

Whatever it is, it is never higher than the recipe allows.
"""

from __future__ import annotations

from drivers.errors import SettingError
from drivers.instrument import Instrument, Setting


class Compliance:
    """That of one source. `confirmed_V` is what somebody has set by hand, and said so."""

    confirmed_V: float | None = None
    _asked_V = 0.0

    def __init__(self, source: Instrument) -> None:
        self._source = source

    def set(self, compliance_V: float) -> None:
        """Let the source reach no more. Raises SettingError where it would."""
        self._asked_V = compliance_V
        spelling = self._source.spelling("compliance")
        if spelling.fixed:
            self._check_fixed(spelling.fixed)
        elif spelling.by_hand:
            self._check_by_hand()
        else:
            self._source.set("compliance", compliance_V)
        self.compare()

    def compare(self) -> None:
        """It reads back no higher than it was asked. Raises SettingError."""
        spelling = self._source.spelling("compliance")
        if not spelling.get or not spelling.verify:
            return
        found = self._source.get_number("compliance")
        allowed = self._asked_V * (1 + spelling.rtol) + min(spelling.atol, self._asked_V / 2)
        if not found <= allowed:
            raise SettingError(
                f"a compliance of {self._asked_V:.6g} V was asked and {found:.6g} V reads back",
                resource=self._source.link.resource,
                command=spelling.get,
                remedy="Choose a value that the instrument has, and look for a setting that moves it.",
            )

    def _check_fixed(self, fixed_V: float) -> None:
        if self._asked_V < fixed_V * (1 - 1e-9):
            raise SettingError(
                f"its compliance is fixed at {fixed_V:g} V, and {self._asked_V:g} V was asked",
                resource=self._source.link.resource,
                remedy=f'Write compliance = "{fixed_V:g} V" where part and wiring stand that, or use another source.',
            )
        self._note(f"{fixed_V:g} V", "fixed by its make")

    def _check_by_hand(self) -> None:
        if self.confirmed_V is None or abs(self.confirmed_V / self._asked_V - 1) > 1e-9:
            told = "nobody has confirmed it" if self.confirmed_V is None else f"{self.confirmed_V:g} V was confirmed"
            raise SettingError(
                f"its compliance is set by hand, and {told}",
                resource=self._source.link.resource,
                remedy=f"Set {self._asked_V:g} V on its front panel, then confirm it: --compliance-by-hand"
                f' "{self._asked_V:g} V".',
            )
        self._note(f"{self.confirmed_V:g} V", "set by hand, as confirmed")

    def _note(self, value: str, how: str) -> None:
        setting = Setting("compliance", value, how, verified=False)
        self._source.settings = [s for s in self._source.settings if s.name != "compliance"] + [setting]
