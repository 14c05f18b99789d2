import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from benchapp.events import EndReason, Event, EventKind, Reading, RunEnd, Temperature
from benchapp.logbook.database import open_database
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.owner import Owner, is_alive, this_process
from benchapp.logbook.query import list_runs, load_run
from benchapp.logbook.replay import recipe_of, replay
from benchapp.logbook.shape import SCHEMA_VERSION
from benchapp.logbook.store import RunHeader, RunWriter
from benchapp.recipe import Recipe, recipe_to_toml
from drivers.instrument import Setting

HEADER = RunHeader("0.1", recipe_to_toml(Recipe(0.1, name="Test")), {"source": "here", "voltmeter": "there"})
READINGS = [Reading(k, 0.1 * k, 0.1 * (-1) ** k, 1e-6 * (-1) ** k + 1e-9 * k / 7) for k in range(30)]


def write(path: Path, *, end: bool = True) -> int:
    writer = RunWriter(path, HEADER)
    writer.facts({"source": "A", "voltmeter": "B"}, [("source", Setting("level", "0", "0.0", verified=True))])
    writer.append(READINGS[:20], [Event(1.0, 12, EventKind.PAUSE, "paused")])
    writer.append(READINGS[20:], [])
    if end:
        writer.end(RunEnd(EndReason.RULE, "30 blocks taken", output_off=True), [{"resistance_ohm": 1e-5}])
    writer.close()
    return writer.run_id


def test_a_run_reads_back_as_it_was_written(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    run_id = write(path)
    record = load_run(path, run_id)
    assert list(zip(record.readings.time_s, record.readings.current_A, record.readings.voltage_V, strict=True)) == [
        reading[1:] for reading in READINGS
    ]
    assert record.readings.pauses == [12]
    assert record.instruments == {"source": "A", "voltmeter": "B"}
    assert record.settings == [("source", Setting("level", "0", "0.0", verified=True))]
    assert (record.summary.status, record.summary.stated) == ("completed", {"resistance_ohm": 1e-5})
    recipe = recipe_of(record)
    assert recipe.name == "Test"
    estimate, blocks = replay(record, recipe)
    assert estimate.resistance_ohm == pytest.approx(1e-5, rel=1e-3)
    assert blocks.shape[1] == 10


def test_temperatures_read_back_and_a_missing_group_is_damage(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    writer = RunWriter(path, HEADER)
    told = [Temperature(float(k), 20.0 + 0.01 * k) for k in range(12)]
    writer.append(READINGS, [], told[:5])
    writer.append([], [], told[5:])
    writer.end(RunEnd(EndReason.RULE, "done", output_off=True), [{"resistance_ohm": 1e-5}])
    writer.close()
    assert load_run(path, 1).temperatures == told
    with sqlite3.connect(path) as db:
        db.execute("DELETE FROM temperature WHERE first = 0")
    db.close()
    with pytest.raises(LogbookError, match="some of its temperatures are missing"):
        load_run(path, 1)


def test_an_unended_run_is_running_while_its_owner_lives_and_interrupted_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log.sqlite"
    writer = RunWriter(path, HEADER)
    run_id = writer.run_id
    writer.append(READINGS, [])
    assert load_run(path, run_id).summary.status == "running"
    writer.close()
    # The same process number at another start is another process.
    me = this_process()
    monkeypatch.setattr("benchapp.logbook.store.this_process", lambda: Owner(me.host, me.pid, "earlier"))
    run_id = write(path, end=False)
    assert load_run(path, run_id).summary.status == "interrupted"
    assert replay(load_run(path, run_id), Recipe(0.1))[0].blocks > 0


def test_what_was_appended_survives_kill_9(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    program = (
        "import os, signal, sys; from pathlib import Path;"
        "from tests.benchapp.logbook.test_store import write;"
        "write(Path(sys.argv[1]), end=False); os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", program, str(path)], cwd=os.getcwd(), check=False, timeout=60)
    assert killed.returncode == -signal.SIGKILL
    summary = list_runs(path)[0]
    assert (summary.status, summary.readings) == ("interrupted", len(READINGS))


def test_owners() -> None:
    me = this_process()
    assert is_alive(me)
    assert not is_alive(Owner(me.host, 2**22 - 3, me.started))
    assert is_alive(Owner("elsewhere", 1, ""))


def test_a_newer_file_a_foreign_one_and_no_file_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match="there is no logbook here"):
        list_runs(tmp_path / "none.sqlite")
    newer = tmp_path / "newer.sqlite"
    open_database(newer, create=True).close()
    db = sqlite3.connect(newer)
    db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    db.close()
    with pytest.raises(LogbookError, match="newer version"):
        list_runs(newer)
    foreign = tmp_path / "foreign.sqlite"
    db = sqlite3.connect(foreign)
    db.execute("CREATE TABLE theirs (x)")
    db.close()
    with pytest.raises(LogbookError, match="another program"):
        open_database(foreign, create=True)
    text = tmp_path / "text.sqlite"
    text.write_text("no database at all, but long enough to be looked at" * 10)
    with pytest.raises(LogbookError, match="cannot be used"):
        open_database(text, create=True)
    with pytest.raises(LogbookError, match="no run 7"):
        load_run(path := tmp_path / "log.sqlite", write(path) + 6)


def test_the_commit_is_durable(tmp_path: Path) -> None:
    db = open_database(tmp_path / "log.sqlite", create=True)
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert db.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    db.close()


def test_a_write_that_fails_is_a_logbook_error(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    writer = RunWriter(path, HEADER)
    writer._db.execute("PRAGMA max_page_count = 1")
    marks = [Event(0.0, 0, EventKind.MARK, "x" * 2000)] * 2000
    with pytest.raises(LogbookError, match="Make room"):
        writer.append([], marks)
    writer.close()


def test_many_processes_may_begin_one_logbook_at_once(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    program = (
        "import sys; from pathlib import Path; from tests.benchapp.logbook.test_store import write;"
        "[write(Path(sys.argv[1])) for _ in range(3)]"
    )
    writers = [subprocess.Popen([sys.executable, "-c", program, str(path)], cwd=os.getcwd()) for _ in range(5)]
    while any(writer.poll() is None for writer in writers):
        with contextlib.suppress(LogbookError):  # there is none yet
            list_runs(path)
    assert [writer.returncode for writer in writers] == [0] * 5
    assert [run.readings for run in list_runs(path)] == [len(READINGS)] * 15
