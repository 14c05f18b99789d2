"""An instrument that misbehaves: stalls, hangs up, answers late, twice or garbage, forgets, clamps, is slow."""

from __future__ import annotations

import re
from typing import Protocol

from sim.clock import Clock
from sim.scpi.core import ScpiDevice
from sim.world.config import Faults

_GARBAGE = "\x7f?#~"
_SETTING = re.compile(r"(.*\s)([+-]?\d+\.?\d*(?:[eE][+-]?\d+)?)$")


class Device(Protocol):
    """What a server can put on a wire. `reply_end` ends each reply."""

    reply_end: str
    clock: Clock

    def process(self, message: str) -> str | None:
        """One message; the reply, or None."""


class HangUp(Exception):
    """The instrument closes the connection."""


class FaultyInstrument:
    """A device behind its faults; the server and the loopback talk to it. Without faults it hands everything on."""

    def __init__(self, device: Device, faults: Faults) -> None:
        self.device, self._faults = device, faults
        self._messages = 0
        self.clock = device.clock
        self.reply_end = device.reply_end

    @property
    def one_client(self) -> bool:
        """Whether it takes one connection at a time."""
        return bool(self._faults.one_client)

    def process(self, message: str) -> str | None:
        """One message; the reply, or None. Raises HangUp."""
        f = self._faults
        self._messages += 1
        n = self._messages
        if f.drop_after and n > f.drop_after:
            self._messages = 0
            raise HangUp
        if f.stall_after and n > f.stall_after:
            return None
        if f.slow_s:
            self.clock.sleep(f.slow_s)
        if f.resets_after and n == f.resets_after and isinstance(self.device, ScpiDevice):
            self.device.reset()  # as after a dip of the mains: all settings are lost, without a word
        reply = self.device.process(self._clamped(message))
        if f.mute_after and n > f.mute_after:
            return None
        if (n == f.error_at or (f.errors_every and n % f.errors_every == 0)) and isinstance(self.device, ScpiDevice):
            self.device.raise_error(-310)
        return reply if reply is None else self._spoilt(reply, n)

    def _spoilt(self, reply: str, n: int) -> str:
        f = self._faults
        if n == f.garbage_at or (f.garbage_every and n % f.garbage_every == 0):
            return _GARBAGE
        if n == f.late_at or (f.late_every and n % f.late_every == 0):
            self.clock.sleep(f.late_s)
        if n == f.twice_at or (f.twice_every and n % f.twice_every == 0):
            return f"{reply}\n{reply}"
        return reply

    def _clamped(self, message: str) -> str:
        if self._faults.clamp == 1.0:
            return message
        units = message.split(";")
        for index, unit in enumerate(units):
            match = _SETTING.fullmatch(unit)
            if match is not None:
                units[index] = f"{match[1]}{float(match[2]) * self._faults.clamp:.8E}"
        return ";".join(units)
