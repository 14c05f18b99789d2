"""A source behind an inverting switch: it sends the negative of each level. An example of a driver of one's own."""

from pathlib import Path

from drivers.plugins import DriverPlugin
from drivers.scpi_source import ScpiSource


class InvertingSource(ScpiSource):
    """The current is the negative of what the instrument is told."""

    def step(self, current_A: float) -> bool:
        """One level, inverted."""
        return super().step(-current_A)


PLUGIN = DriverPlugin("source", str(Path(__file__).with_name("inverting.toml")), InvertingSource)
