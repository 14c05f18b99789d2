"""What stays if everybody is killed: a file for each source whose output was ordered on and is not yet proved off.

Written, and on the disk, before the output goes on; taken away by whoever has proved it off, this program or its
guardian. A file that nobody holds tells the next start to read that output and to offer OFF.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from benchapp.paths import data_folder, runtime_folder
from drivers.lock import AddressLock, canonical
from drivers.plain import plain
from drivers.wires import check_address

_LARGEST = 10_000


@dataclass(frozen=True, slots=True)
class Armed:
    """A source whose output may be on; `dialect` is a name or a path, `since_s` the time of day in Unix seconds."""

    address: str
    dialect: str
    identity: str
    holder: str
    since_s: float

    def is_at(self, address: str) -> bool:
        """Whether it is the source at that address."""
        return canonical(self.address) == canonical(address)

    @property
    def when(self) -> str:
        """The time of day in words."""
        try:
            return time.strftime("%Y-%m-%d %H:%M", time.localtime(self.since_s))
        except (OverflowError, ValueError, OSError):
            return "an unknown time"


def path_of(address: str) -> Path:
    """Where a source's file stands."""
    return _folder() / f"{hashlib.sha256(canonical(address).encode()).hexdigest()[:24]}.json"


def mark(armed: Armed) -> Path:
    """Say that this source's output goes on. Raises OSError: without it nothing may."""
    path = path_of(armed.address)
    path.parent.mkdir(parents=True, exist_ok=True)
    # Written beside and renamed: who is killed meanwhile leaves the note of before, never an empty one.
    beside = path.with_suffix(f".{os.getpid()}.part")
    with beside.open("w", encoding="utf-8") as stream:
        stream.write(json.dumps(asdict(armed)))
        stream.flush()
        os.fsync(stream.fileno())
    beside.replace(path)
    return path


def clear(address: str) -> None:
    """Its output is proved off."""
    path_of(address).unlink(missing_ok=True)


def left_behind() -> list[Armed]:
    """Sources that somebody switched on who is not there any more."""
    return [armed for armed in noted() if AddressLock(armed.address, runtime_folder()).holder() is None]


def noted() -> list[Armed]:
    """All sources that are noted as switched on; files that cannot be read are passed over."""
    found = []
    for path in sorted(_folder().glob("*.json")):
        try:
            if path.stat().st_size > _LARGEST:
                continue
            kept = json.loads(path.read_text("utf-8"))
            texts = {key: plain(str(kept[key])) for key in ("address", "dialect", "identity", "holder")}
            armed = Armed(**texts, since_s=float(kept["since_s"]))
            check_address(armed.address)
            found.append(armed)
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            continue
    return found


def _folder() -> Path:
    return data_folder() / "armed"
