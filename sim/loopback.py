"""A wire to a simulated instrument in the same process: no socket, and on a virtual clock no waiting."""

from __future__ import annotations

from collections import deque

from sim.devices.faulty import Device, HangUp


class Loopback:
    """Takes messages and gives replies as a socket would, at once."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self._replies: deque[bytes] = deque()

    def send(self, data: bytes) -> None:
        """Hand over one or more terminated messages."""
        for line in data.decode("ascii").splitlines():
            try:
                reply = self._device.process(line.strip())
            except HangUp:
                raise ConnectionResetError("the instrument hung up") from None
            if reply is not None:
                parts = [reply] if reply.startswith("#") else reply.split("\n")  # a block may hold any byte
                self._replies.extend(part.encode("latin-1") for part in parts)

    def receive(self, timeout_s: float) -> bytes:
        """The next reply without its terminator; TimeoutError after the time-out where there is none."""
        if not self._replies:
            self._device.clock.sleep(timeout_s)
            raise TimeoutError
        return self._replies.popleft()

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        """The first bytes of the next reply; its rest stays, down to nothing, which is its terminator."""
        if not self._replies:
            return self.receive(timeout_s)
        data = self._replies[0]
        if len(data) < count:
            raise TimeoutError
        self._replies[0] = data[count:]
        return data[:count]

    def sleep(self, seconds: float) -> None:
        """Let bench time pass."""
        self._device.clock.sleep(seconds)

    def clear(self) -> None:
        """Drop replies not read yet."""
        self._replies.clear()

    def close(self) -> None:
        """Nothing is held."""
