"""One program at a time on an instrument: a lock for each address, which names its holder and dies with it.

The lock is an advisory one on a file in the user's runtime folder, so it is gone when the last process that has the
file open is. The guardian inherits it: as long as it may still switch off, nobody else gets the source. Programs on
other machines, and those of other makers, are not kept out; where the link has an exclusive lock, use that.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from drivers.errors import InstrumentError
from drivers.wires import host_and_port

_ORPHAN_WAIT_S = 6.0  # a guardian whose program died looks again for 1.5 s; an instrument may answer it late
_LOOK_S = 0.02
_LONGEST = 400
_LARGEST_PID = 2**31 - 1


class InstrumentBusy(InstrumentError):
    """Another program, or another run of this one, has the instrument."""


class AddressLock:
    """Held from `take` to `release`. Not for several threads."""

    def __init__(self, address: str, folder: Path) -> None:
        self.address = address
        self._path = (
            folder / f"{hashlib.sha256(canonical(address).encode('utf-8', 'surrogatepass')).hexdigest()[:24]}.lock"
        )
        self._file: int | None = None

    def take(self, holder: str, on_wait: Callable[[], None] = lambda: None) -> None:
        """Become the holder, under that name. Raises InstrumentBusy.

        Where the holder is dead and only its guardian is left, wait for that; `on_wait` may raise to end it.
        """
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            file = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o600)
        except OSError as error:
            raise InstrumentBusy(
                f"its lock cannot be opened ({error.strerror}: {self._path})",
                resource=self.address,
                remedy="Let the user's runtime folder be written, or name another in BENCHAPP_RUNTIME.",
            ) from error
        until = time.monotonic() + _ORPHAN_WAIT_S
        while not _lock(file):
            pid, name = _read_holder(file)
            if (pid is not None and process_lives(pid)) or time.monotonic() > until:
                os.close(file)
                raise InstrumentBusy(
                    f"in use by {name or 'another program'}",
                    resource=self.address,
                    remedy="Let that end, or choose another instrument. Its output can be switched off at any time:"
                    f" benchapp off --source {self.address}",
                )
            try:
                on_wait()
            except BaseException:
                os.close(file)
                raise
            time.sleep(_LOOK_S)
        self._file = file
        text = f"{os.getpid()}\n{holder}"[:_LONGEST].encode("utf-8", "replace")
        with suppress(OSError):
            os.lseek(file, 0, os.SEEK_SET)
            os.ftruncate(file, 0)
            os.write(file, text)

    @property
    def fd(self) -> int | None:
        """What a guardian inherits; None while it is not held."""
        return self._file

    def release(self) -> None:
        """Give it up; a guardian that has inherited it still holds it."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def holder(self) -> str | None:
        """Who has it now; None where nobody has. For showing only: the next moment it may be another."""
        try:
            file = os.open(self._path, os.O_RDWR)
        except OSError:
            return None
        try:
            if _lock(file):
                return None
            return _read_holder(file)[1] or "another program"
        finally:
            os.close(file)


def canonical(address: str) -> str:
    """One spelling for one instrument, as far as the address tells."""
    target = host_and_port(address)
    if target is not None:
        host = target[0].lower()
        return f"{'127.0.0.1' if host in ('localhost', '::1') else host}:{target[1]}"
    text = address.strip().upper()
    with suppress(Exception):  # whatever the parser raises: then the text itself is the name
        from pyvisa.rname import to_canonical_name

        text = to_canonical_name(address.strip()).upper()
    return re.sub(r"\s+", "", text)


def _read_holder(file: int) -> tuple[int | None, str]:
    try:
        os.lseek(file, 0, os.SEEK_SET)
        pid, _, name = os.read(file, _LONGEST).decode("utf-8", "replace").partition("\n")
    except OSError:
        return None, ""
    shown = "".join(c for c in name if c.isprintable())
    return (int(pid), shown) if re.fullmatch("[0-9]{1,10}", pid) else (None, shown)


def process_lives(pid: int) -> bool:
    """Whether a process with that number runs; where the system does not tell, it counts as running."""
    if sys.platform == "win32":
        return True  # a lock there dies with its process, so somebody lives
    if not 0 < pid <= _LARGEST_PID:
        return False  # a damaged file, or a stranger's: 0 and below would name whole groups
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    try:
        # A zombie has given up all that it held, but for what a child inherited.
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except (OSError, IndexError):
        # Taken away since it was asked for; where there is no such folder at all the first answer stands.
        return not Path("/proc/self/stat").exists()


if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 20  # beyond the holder's name, which others read

    def _lock(file: int) -> bool:
        try:
            os.lseek(file, _FAR, os.SEEK_SET)
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(file: int) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
