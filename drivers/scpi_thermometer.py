"""A thermometer on top of link and dialect."""

from __future__ import annotations

from drivers.errors import ReplyError
from drivers.instrument import Instrument
from drivers.link import to_float

_TIMEOUT_S = 5.0


class ScpiThermometer(Instrument):
    """See `drivers.roles.Thermometer`."""

    def configure(self) -> None:
        """Measure temperature, where the dialect says how."""
        if self.has("function"):
            self.set("function", "")

    def read_C(self) -> float:
        """One temperature in degrees Celsius. Raises ReplyError outside the dialect's low and high: a broken sensor."""
        self.begin()
        return self.finish()

    def begin(self) -> None:
        """Ask for a temperature; others may be spoken to before `finish` hears it."""
        self.link.write(self.spelling("temperature").get)

    def finish(self) -> float:
        """The temperature that was asked for."""
        spelling = self.spelling("temperature")
        reply = self.link.read(spelling.get, spelling.timeout_s or _TIMEOUT_S)
        value = to_float(self.extract(spelling, reply), self.link, spelling.get) / spelling.scale
        if not spelling.low <= value <= spelling.high:
            raise ReplyError(
                f"{value:g} degC lies outside {spelling.low:g} to {spelling.high:g}",
                resource=self.link.resource,
                command=spelling.get,
                remedy="Check the sensor and its connection.",
            )
        return value
