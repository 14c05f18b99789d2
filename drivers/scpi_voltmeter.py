"""A voltmeter on top of link and dialect."""

from __future__ import annotations

from drivers.errors import ReplyError
from drivers.instrument import Instrument
from drivers.link import to_float
from drivers.values import block_numbers

_MARGIN_S = 2.0
_LARGEST_V = 1e30
OVERLOAD = 9.9e37  # SCPI-99 vol. 1, 7.2.1


class ScpiVoltmeter(Instrument):
    """See `drivers.roles.Voltmeter`."""

    range_V: float | None = None  # in use, as read back; None where it chooses by itself

    def configure(self, *, nplc: float, line_frequency_Hz: float, range_V: float | None) -> None:
        """Function first, because it loses other settings; then aperture, range, autozero, trigger."""
        if self.has("function"):
            self.set("function", "")
        aperture_s = nplc / line_frequency_Hz
        talks = self.spelling("read").listen
        if self.has("nplc"):
            self.set("nplc", nplc)
        elif self.has("aperture") or not talks:
            self.set("aperture", aperture_s)
        if range_V is not None and not (talks and not self.has("range")):  # what only talks is set up by hand
            self.set("range", range_V)
            self.range_V = self.get_number("range") if self.spelling("range").get else range_V
        elif self.has("autorange"):
            self.set("autorange", True)
        # The zero of the voltmeter is one more EMF that the reversal cancels; autozero would only double the time.
        if self.has("autozero"):
            self.set("autozero", False)
        if self.has("trigger_source"):
            self.set("trigger_source", "")
        self._read = self.spelling("read")
        self._plain = self._read.reply is None and self.dialect.errors.mode != "reply"
        # The usual case in one go: thousands of readings a second leave no time to ask how each of them comes.
        usual = self._read.encoding == "ascii" and not self._read.before and not self._read.listen
        self._at_once = self._plain and usual
        # Twice the aperture, in case autozero stays on, and a margin for the instrument itself.
        self._timeout_s = 2 * aperture_s + _MARGIN_S

    def read(self) -> float:
        """One triggered reading in volt."""
        if self._at_once:
            return self._scaled(to_float(self.link.query(self._read.get, self._timeout_s), self.link, self._read.get))
        self.begin()
        return self.finish()

    def begin(self) -> None:
        """Start a reading; other instruments may be started before `finish` waits for it."""
        for message in self._read.before:
            self.send(message)
        if self._read.listen:
            self.link.drop()
            self.link.read("a reading that comes unasked", self._timeout_s)  # it was begun before
            return
        self.link.write(self._read.get)

    def finish(self) -> float:
        """The reading that was started, in volt."""
        if self._read.encoding != "ascii":
            return self._scaled(self._of_block(self.link.read_block(self._read.get, self._timeout_s)))
        reply = self.link.read(self._read.get, self._timeout_s)
        if not self._plain:
            if self.dialect.format.overload and any(word in reply for word in self.dialect.format.overload):
                return OVERLOAD
            reply = self.extract(self._read, reply)
        return self._scaled(to_float(reply, self.link, self._read.get))

    def _scaled(self, value: float) -> float:
        # The standard's infinity stays what it is; a scale must not make a voltage of it.
        return value if abs(value) > _LARGEST_V else value / self._read.scale

    def _of_block(self, data: bytes) -> float:
        numbers = block_numbers(data, self._read.encoding)
        if not numbers:
            raise ReplyError(
                f"a block of {len(data)} bytes holds no number",
                resource=self.link.resource,
                command=self._read.get,
                remedy="Correct the encoding in the dialect.",
            )
        return numbers[0]
