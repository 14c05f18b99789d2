"""Long trials, case by case: each result is kept, so a trial that was stopped goes on where it stopped.

A case is named by its number alone, which seeds it. Results stand in .trials/NAME.jsonl until the trial is complete; a
trial of other sources, or of another size, begins anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
_FOLDER = ROOT / ".trials"
_SAID_EVERY_S = 20.0
Result = dict[str, Any]


def run_trial(name: str, cases: int, case: Callable[[int], Result], *, at_once: int = 1) -> list[Result]:
    """The results of all cases, in order; those that were found before are not tried again.

    `at_once` cases are written down together, where a case takes far less than writing.
    """
    path = _FOLDER / f"{name}.jsonl"
    head = {"trial": name, "cases": cases, "sources": sources_digest()}
    found = _found(path, head)
    if found:
        print(f"{name}: goes on after {len(found)} of {cases}", flush=True)
    said = time.monotonic()
    with _kept(path, head, found) as stream:
        for number in range(len(found), cases):
            found.append(case(number))
            stream.write(json.dumps(found[-1], ensure_ascii=True) + "\n")
            if len(found) % at_once == 0:
                stream.flush()
            if time.monotonic() - said > _SAID_EVERY_S:
                said = time.monotonic()
                print(f"{name}: {len(found)} of {cases}", flush=True)
    path.unlink()
    return found


def sources_digest() -> str:
    """What the program and the trials are, by their text."""
    digest = hashlib.sha256()
    for package in ("benchapp", "drivers", "sim", "tests"):
        for path in sorted((ROOT / package).rglob("*.*")):
            if path.suffix in (".py", ".toml", ".sql"):
                digest.update(path.read_bytes())
    return digest.hexdigest()


def _found(path: Path, head: Result) -> list[Result]:
    try:
        lines = path.read_text("utf-8").splitlines(keepends=True)
        whole = [json.loads(line) for line in lines if line.endswith("\n")]
    except (OSError, ValueError):
        return []
    return whole[1:] if whole and whole[0] == head else []


@contextlib.contextmanager
def _kept(path: Path, head: Result, found: list[Result]) -> Iterator[Any]:
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8") as stream:
        for result in (head, *found):
            stream.write(json.dumps(result, ensure_ascii=True) + "\n")
        stream.flush()
        yield stream
