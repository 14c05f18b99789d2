"""Instruments for one program at a time: the locks of a bench, taken together and given up together."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from benchapp.paths import runtime_folder
from drivers.lock import AddressLock, canonical


class Locks:
    """One lock for each instrument; two roles of one instrument share it."""

    def __init__(self, addresses: Sequence[str]) -> None:
        self._locks = {canonical(address): AddressLock(address, runtime_folder()) for address in addresses}

    def take(self, holder: str, on_wait: Callable[[], None] = lambda: None) -> None:
        """All of them, or none. Raises InstrumentBusy, which names the holder."""
        try:
            for name in sorted(self._locks):  # in one order, so that two programs never wait for each other
                self._locks[name].take(holder or f"benchapp (process {os.getpid()})", on_wait)
        except BaseException:
            self.release()
            raise

    def fd(self, address: str) -> int | None:
        """What a guardian inherits; None where the instrument is not locked."""
        lock = self._locks.get(canonical(address))
        return None if lock is None else lock.fd

    def release(self) -> None:
        """Give all of them up."""
        for lock in self._locks.values():
            lock.release()


@contextmanager
def locked(holder: str, *addresses: str) -> Iterator[Locks]:
    """The instruments to ourselves. Raises InstrumentBusy."""
    locks = Locks(addresses)
    locks.take(f"{holder} (process {os.getpid()})")
    try:
        yield locks
    finally:
        locks.release()
