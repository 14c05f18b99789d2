"""A switch or scanner on top of link and dialect: one connection at a time, opened before another is closed."""

from __future__ import annotations

from drivers.dialect import Spelling
from drivers.errors import SettingError
from drivers.instrument import Instrument


class ScpiSwitch(Instrument):
    """See `drivers.roles.Switch`. A channel is what the instrument calls it, such as "101" or "1!3"."""

    def open(self) -> None:
        """Identify and open everything."""
        super().open()
        self.open_all()

    def connect(self, channel: str) -> None:
        """Open whatever is closed, then close this one; proved where it can be asked. Raises SettingError."""
        self.open_all()
        close = self.spelling("close")
        message = close.set.replace("{value}", channel)
        self._act(close, message)
        if self.has("closed") and not self._is_closed(channel):
            raise SettingError(
                f"channel {channel} was closed and reads back open",
                resource=self.link.resource,
                command=message,
                remedy="Check the channel's number and the switch.",
            )

    def open_all(self) -> None:
        """Nothing is connected any more."""
        spelling = self.spelling("open_all")
        self._act(spelling, spelling.set)

    def _act(self, spelling: Spelling, message: str) -> None:
        self.send(message)
        if spelling.settle_s:
            self.link.pause(spelling.settle_s)  # contacts bounce
        self._synchronise(self.link.timeout_s)
        self.check_errors(message)

    def _is_closed(self, channel: str) -> bool:
        spelling = self.spelling("closed")
        return self.read_bool(spelling, self.link.query(spelling.get.replace("{value}", channel)))
