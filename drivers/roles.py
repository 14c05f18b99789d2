"""What a bench needs of its instruments."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from drivers.instrument import Setting


class CurrentSource(Protocol):
    """A bipolar current source with a voltage limit."""

    @property
    def identity(self) -> str:
        """Who it is."""

    @property
    def settings(self) -> Sequence[Setting]:
        """What was set, as read back."""

    def configure(self, *, current_A: float, compliance_V: float) -> None:
        """Set up with the output off: a range for the largest current, the compliance, level 0."""

    def step(self, current_A: float) -> bool:
        """Set the level and return once the current has changed; True where the compliance limits it."""

    def output_on(self) -> None:
        """Switch on and verify."""

    def safe(self) -> bool:
        """Switch off by all means; True where the output is proved off."""

    def close(self) -> None:
        """Hang up."""


class Voltmeter(Protocol):
    """A sensitive voltmeter."""

    @property
    def identity(self) -> str:
        """Who it is."""

    @property
    def settings(self) -> Sequence[Setting]:
        """What was set, as read back."""

    def configure(self, *, nplc: float, line_frequency_Hz: float, range_V: float | None) -> None:
        """Set aperture and range (None: automatic)."""

    def read(self) -> float:
        """Trigger one reading and return it in volt; overload reads above 1e30."""

    def close(self) -> None:
        """Hang up."""


class Thermometer(Protocol):
    """What tells the specimen's temperature."""

    def configure(self) -> None:
        """Set up to measure temperature."""

    def read_C(self) -> float:
        """One temperature in degrees Celsius."""

    def close(self) -> None:
        """Hang up."""


class Switch(Protocol):
    """What connects one of several specimens, or a standard in turn with them."""

    def connect(self, channel: str) -> None:
        """Close one channel, every other open."""

    def open_all(self) -> None:
        """Nothing is connected."""

    def close(self) -> None:
        """Hang up."""
