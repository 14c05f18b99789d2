"""Whose run is it? A run without an end was interrupted only if the process that wrote it is dead."""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass
from pathlib import Path

from drivers.lock import process_lives


@dataclass(frozen=True, slots=True)
class Owner:
    """A process: `started` tells it from a later one with the same number."""

    host: str
    pid: int
    started: str


def this_process() -> Owner:
    """The process that runs this."""
    return Owner(socket.gethostname(), os.getpid(), _start_of(os.getpid()))


def is_alive(owner: Owner) -> bool:
    """Whether the owner still runs. On another host that cannot be seen: then it counts as alive."""
    if owner.host != socket.gethostname():
        return True
    if owner.pid == os.getpid():
        return owner.started == _start_of(owner.pid)
    return process_lives(owner.pid) and owner.started == _start_of(owner.pid)


def _start_of(pid: int) -> str:
    """The boot and the tick at which a process started, where the system tells; else empty."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return ""
    return f"{boot}:{fields[19]}" if fields[0] not in "ZX" else ""
