"""The runs of this user that are under way: a small file for each, which says how to reach it; it goes with the run."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from benchapp.paths import runtime_folder
from drivers.lock import process_lives
from drivers.plain import plain

_LARGEST = 10_000


@dataclass(frozen=True, slots=True)
class RunCard:
    """A run that others may look at. `key` is the secret of its connection; `since` the time of day in words."""

    address: str
    key: str
    process: int
    run_id: int
    name: str
    source: str
    dialect: str  # of the source
    logbook: str
    since: str
    version: str

    @property
    def in_words(self) -> str:
        """Which run it is."""
        of = f" of {self.name}" if self.name else ""
        return f"run {self.run_id}{of} on {self.source} (process {self.process}, since {self.since})"


@contextmanager
def announced(card: RunCard) -> Iterator[None]:
    """The card is there as long as this lasts; a folder that cannot be written hides the run but does not hinder it."""
    path = _folder() / f"{card.process}-{card.run_id}.json"
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        beside = path.with_suffix(".part")
        file = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(file, "w", encoding="utf-8") as stream:
            stream.write(json.dumps(asdict(card)))
        beside.replace(path)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink(missing_ok=True)


def under_way() -> list[RunCard]:
    """The cards of living processes, the oldest first; one that a dead process left is taken away."""
    found = []
    for path in sorted(_folder().glob("*.json")):
        try:
            if path.stat().st_size > _LARGEST:
                continue
            kept = json.loads(path.read_text("utf-8"))
            words = {key: plain(str(kept[key])) for key in ("name", "source", "dialect", "logbook", "since", "version")}
            card = RunCard(str(kept["address"]), str(kept["key"]), int(kept["process"]), int(kept["run_id"]), **words)
        except (OSError, ValueError, TypeError, KeyError, RecursionError):
            continue
        if process_lives(card.process):
            found.append(card)
        else:
            with suppress(OSError):
                path.unlink()
    return found


def _folder() -> Path:
    return runtime_folder() / "runs"
