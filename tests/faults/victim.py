"""A `benchapp measure` in a process of its own, to be killed in many ways."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path


class Victim:
    """A context manager; whatever is left of the process and its guardian is killed at the end."""

    def __init__(self, source: str, voltmeter: str, folder: Path, *options: str, pausing: bool = False) -> None:
        self.stream = folder / "stream.jsonl"
        self.logbook = folder / "log.sqlite"
        self.environment = os.environ | {f"BENCHAPP_{name}": str(folder) for name in ("CONFIG", "DATA", "RUNTIME")}
        measure = [
            "benchapp.cli.main", "measure", "--source", source, "--voltmeter", voltmeter,
            "--current", "1 A", "--nplc", "0.05", "--settle", "0", "--blocks", "10000000",
            "--stream", str(self.stream), "--logbook", str(self.logbook), *options,
        ]  # fmt: skip
        pause = ["tests.faults.pausing", source, voltmeter, str(self.logbook), str(self.stream)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", *(pause if pausing else measure)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=self.environment,
            start_new_session=True,
        )

    @property
    def paused(self) -> bool:
        """Whether it has said that it rests."""
        return self.stream.with_suffix(".paused").exists()

    def __enter__(self) -> Victim:
        return self

    def __exit__(self, *_: object) -> None:
        for pid in (*self.children(), self.process.pid):
            try:
                os.kill(pid, 9)
            except ProcessLookupError:
                continue
        self.process.wait(10)
        if self.process.stderr is not None:
            self.process.stderr.close()

    def children(self) -> list[int]:
        """Processes that the victim started."""
        found: list[int] = []
        for path in Path(f"/proc/{self.process.pid}/task").glob("*/children"):
            try:
                found += map(int, path.read_text().split())
            except OSError:
                continue
        return found

    def streamed(self) -> int:
        """Readings that it has shown."""
        if not self.stream.exists():
            return 0
        lines = self.stream.read_text().split("\n")
        return sum(1 for line in lines[:-1] if "voltage_V" in json.loads(line))


def wait_until(condition: Callable[[], bool], timeout_s: float = 20.0) -> float:
    """Wait for a condition; the seconds it took. Raises AssertionError at the time-out."""
    start = time.monotonic()
    while not condition():
        if time.monotonic() - start > timeout_s:
            raise AssertionError("it did not happen in time")
        time.sleep(0.002)
    return time.monotonic() - start
