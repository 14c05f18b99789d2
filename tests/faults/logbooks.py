"""Damaged logbooks: what is shown of one is as it was, or is told to be damaged; no other run is hidden by it.

python -m tests.faults.logbooks [LOGBOOKS]
"""

from __future__ import annotations

import contextlib
import functools
import io
import math
import random
import shutil
import sys
import tempfile
import time
import traceback
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np

from benchapp.cli.main import main as benchapp
from benchapp.events import EndReason, Event, EventKind, Reading, RunEnd
from benchapp.logbook.owner import this_process
from benchapp.logbook.query import load_run
from benchapp.logbook.replay import replay
from benchapp.logbook.store import RunHeader, RunWriter
from benchapp.recipe import Recipe, recipe_to_toml
from benchapp.result.budget import BudgetPlan
from benchapp.result.json_object import statement_object
from benchapp.result.statement import make_statement
from benchapp.run.terms import circumstances_of, terms_of
from benchapp.version import VERSION
from drivers.instrument import Setting
from tests.trials import Result, run_trial

RUNS = 6
_SEED = 22
_LIMIT_S = 2.0


def write_logbook(path: Path) -> None:
    """Six runs: five that ended, one that was stated twice, one whose program died."""
    for number in range(1, RUNS + 1):
        died = number == 4
        dead = replace(this_process(), pid=2**22 - 3)
        with mock.patch("benchapp.logbook.store.this_process", return_value=dead):
            _write_run(path, number, died=died)
    with contextlib.redirect_stdout(io.StringIO()):
        assert benchapp(["logbook", "--logbook", str(path), "reanalyse", "2", "--emf-order", "2"]) == 0


def _write_run(path: Path, number: int, *, died: bool) -> None:
    dice = np.random.default_rng(number)
    recipe = Recipe(0.1, name=f"busbar joint {number}", low_ohm=0.5e-3, high_ohm=1.5e-3)
    writer = RunWriter(path, RunHeader(VERSION, recipe_to_toml(recipe), {"source": "A", "operator": "N. N."}))
    settings = [("source", Setting("level", "0", "0.0", verified=True)), ("voltmeter", Setting("nplc", "1", "1", True))]
    writer.facts({"source": "current source", "voltmeter": "voltmeter"}, settings)
    readings = []
    for k in range(60 * number):
        t, I = 0.05 * k, 0.1 * (-1) ** k
        readings.append(Reading(k, t, I, I * 1e-3 + 2e-6 + 1e-9 * t + dice.normal(0.0, 2e-9)))
    for first in range(0, len(readings), 37):
        events = [Event(readings[first].time_s, first, EventKind.MARK, f"mark at {first}")] if first % 2 else []
        writer.append(readings[first : first + 37], events)
    if not died:
        record = load_run(path, writer.run_id)
        estimate, _ = replay(record, recipe)
        end = RunEnd(EndReason.RULE, "all blocks taken", output_off=True)
        terms = terms_of(recipe, BudgetPlan(confidence=recipe.confidence))
        beside = circumstances_of(record.events, end)
        stated = make_statement(estimate, record.readings.current_A, terms, beside)
        writer.end(end, [statement_object(stated, {"run_id": writer.run_id})])
    writer.close()


# How a file is damaged: each takes the bytes and dice, and gives other bytes.


def _flip(data: bytearray, dice: random.Random, bits: int = 1) -> None:
    for _ in range(bits):
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def _flip_many(data: bytearray, dice: random.Random) -> None:
    _flip(data, dice, dice.choice((4, 16, 64)))


def _overwrite(data: bytearray, dice: random.Random) -> None:
    length = dice.choice((1, 8, 64, 512, 4096))
    at = dice.randrange(max(1, len(data) - length))
    data[at : at + length] = dice.choice((b"\0" * length, b"\xff" * length, dice.randbytes(length)))


def _cut_short(data: bytearray, dice: random.Random) -> None:
    del data[dice.randrange(len(data)) :]


def _swap_pages(data: bytearray, dice: random.Random) -> None:
    pages = len(data) // 4096
    a, b = (dice.randrange(pages) * 4096 for _ in range(2))
    data[a : a + 4096], data[b : b + 4096] = data[b : b + 4096], data[a : a + 4096]


def _repeat_page(data: bytearray, dice: random.Random) -> None:
    pages = len(data) // 4096
    a, b = (dice.randrange(pages) * 4096 for _ in range(2))
    data[a : a + 4096] = data[b : b + 4096]


def _lose_page(data: bytearray, dice: random.Random) -> None:
    at = dice.randrange(len(data) // 4096) * 4096
    del data[at : at + 4096]


DAMAGES = (_flip, _flip, _flip, _flip_many, _overwrite, _overwrite, _cut_short, _swap_pages, _repeat_page, _lose_page)


def damaged(whole: bytes, number: int) -> tuple[str, bytes]:
    """The name of the damage and the file's bytes; the number seeds it."""
    dice = random.Random(f"{_SEED} {number}")
    data = bytearray(whole)
    damage = dice.choice(DAMAGES)
    damage(data, dice)
    return damage.__name__.strip("_"), bytes(data)


def looks(path: Path) -> dict[str, list[str]]:
    """Every way in which the command line shows a run, as arguments."""
    asked = {"list": ["logbook", "--logbook", str(path), "list"]}
    for run_id in map(str, range(1, RUNS + 1)):
        for name, words in (("show", []), ("export", ["--json", "-"]), ("export", ["--csv", "-"])):
            command = ["logbook", "--logbook", str(path), name, run_id, *words]
            asked[f"{name} {run_id} {' '.join(words)}".strip()] = command
    return asked


def shown(arguments: list[str]) -> tuple[int, str, str]:
    """Exit status, standard output, standard error; a traceback is status -1, a hang -2."""
    out, err = io.StringIO(), io.StringIO()
    start = time.monotonic()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = benchapp(arguments)
        except (Exception, SystemExit):  # noqa: BLE001  whatever escapes is what is looked for
            return -1, out.getvalue(), traceback.format_exc()
    return (-2 if time.monotonic() - start > _LIMIT_S else status), out.getvalue(), err.getvalue()


def case(folder: Path, whole: bytes, sound: dict[str, tuple[int, str, str]], number: int) -> Result:
    """One damaged logbook, looked at in every way."""
    kind, data = damaged(whole, number)
    path = folder / "log.sqlite"
    path.write_bytes(data)
    result: Result = {"kind": kind, "tracebacks": [], "hangs": [], "silent": [], "same": 0, "told": 0}
    for name, arguments in looks(path).items():
        status, out, err = shown(arguments)
        if status < 0:
            result["tracebacks" if status == -1 else "hangs"].append(f"{name}: {err[-400:]}")
        elif (status, out) == sound[name][:2]:
            result["same"] += 1
        elif status == 2 and ("damage" in err or "damage" in out.lower() or _refused_whole(err)):
            result["told"] += 1
            lines = set(sound[name][1].splitlines())
            if name == "list" and any(line not in lines and "DAMAGED" not in line for line in out.splitlines()):
                result["silent"].append(f"{name}: a line differs: {out}")
        else:
            result["silent"].append(f"{name}: exit {status}: {err[:300]} {out[:300]}")
    return result


def _refused_whole(err: str) -> bool:
    return any(words in err for words in ("cannot be", "no logbook", "newer version", "is missing", "there is no run"))


def main() -> int:
    """Print what was found."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_logbook(folder / "log.sqlite")
        whole = (folder / "log.sqlite").read_bytes()
        sound = {look: shown(arguments) for look, arguments in looks(folder / "log.sqlite").items()}
        assert all(status in (0, 4) for status, _, _ in sound.values()), sound
        for left in folder.iterdir():
            left.unlink()
        results = run_trial("damaged-logbooks", cases, functools.partial(case, folder, whole, sound))
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    found = {key: [line for result in results for line in result[key]] for key in ("tracebacks", "hangs", "silent")}
    for key, lines in found.items():
        for line in lines[:10]:
            print(f"{key}: {line}")
    told = sum(bool(result["told"]) for result in results)
    partly = [result["same"] for result in results if result["told"] and result["same"]]
    print(
        f"{len(results)} damaged logbooks of {RUNS} runs, each looked at in {len(sound)} ways:"
        f" {len(found['tracebacks'])} tracebacks, {len(found['hangs'])} over {_LIMIT_S:g} s,"
        f" {len(found['silent'])} silently different; damage told in {told}, of no consequence in {cases - told};"
        f" where some of it is damaged, {np.mean(partly) if partly else math.nan:.1f} looks are whole on average"
    )
    return 1 if any(found.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
