"""What a bench needs of its instruments: the seam that every driver stands behind, in SCPI or not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from drivers.guardian import SafePlan
from drivers.instrument import Setting


class Opened(Protocol):
    """What every instrument of a run tells."""

    @property
    def identity(self) -> str:
        """Who it is."""

    @property
    def settings(self) -> Sequence[Setting]:
        """What was set, as read back."""

    @property
    def notices(self) -> Sequence[str]:
        """What it said while it was set up."""

    def open(self) -> None:
        """Identify and make ready; a source switches off before anything else."""

    def watch(self, on_wait: Callable[[], None]) -> None:
        """Call `on_wait` in every slice of a wait, at least ten times a second; it may raise to end the wait."""

    def close(self) -> None:
        """Hang up."""


class CurrentSource(Opened, Protocol):
    """A bipolar current source with a voltage limit."""

    @property
    def range_A(self) -> float | None:
        """The range in use, as read back; None where it is not known."""

    @property
    def tells_compliance(self) -> bool:
        """Whether `step` can say that the compliance limits."""

    def configure(self, *, current_A: float, compliance_V: float) -> None:
        """Set up with the output off: a range for the largest current, the compliance, level 0."""

    def step(self, current_A: float) -> bool:
        """Set the level and return once the current has changed; True where the compliance limits it."""

    def output_on(self) -> None:
        """Switch on and verify."""

    def look_after(self) -> Sequence[str]:
        """In the middle of a run: its own errors since the last look. Raises where output or level are not as set."""

    def safe(self) -> bool:
        """Switch off by all means; True where the output is proved off."""

    def safe_plan(self) -> SafePlan | None:
        """How to switch it off from outside; None where nobody could: then it may be used in a simulation only."""

    def on_reopen(self, act: Callable[[], None]) -> None:
        """Call `act` after a lost connection was opened again: the guardian must hear of it."""


class Voltmeter(Opened, Protocol):
    """A sensitive voltmeter."""

    @property
    def range_V(self) -> float | None:
        """The range in use, as read back; None where it chooses by itself."""

    def configure(self, *, nplc: float, line_frequency_Hz: float, range_V: float | None) -> None:
        """Set aperture and range (None: automatic)."""

    def read(self) -> float:
        """Trigger one reading and return it in volt; overload reads above 1e30."""

    def reported(self) -> Sequence[str]:
        """Its own errors since the last look."""


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
