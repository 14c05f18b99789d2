"""Some damaged and some foreign logbooks; `make damaged-logbooks` tries 500."""

import contextlib
import json
import shutil
import sqlite3
import time
from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.logbook import rows
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.query import list_runs, load_run
from benchapp.logbook.store import RunWriter
from benchapp.run.recorded import open_run
from tests.benchapp.logbook.test_store import HEADER, READINGS
from tests.faults.logbooks import RUNS, case, looks, shown, write_logbook


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "log.sqlite"
    write_logbook(path)
    return path


@pytest.fixture
def logbook(whole: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(whole, tmp_path / "log.sqlite"))


def changed(logbook: Path, statement: str, *values: object) -> Path:
    with contextlib.closing(sqlite3.connect(logbook)) as db, db:
        db.execute(statement, values)
    return logbook


def test_damage_is_told_and_never_silent(whole: Path, logbook: Path) -> None:
    sound = {look: shown(arguments) for look, arguments in looks(logbook).items()}
    for number in range(30):
        result = case(logbook.parent, whole.read_bytes(), sound, number)
        assert (result["tracebacks"], result["hangs"], result["silent"]) == ([], [], []), result


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        (
            "UPDATE readings SET data = zeroblob(length(data)) WHERE run_id = 2 AND first = 37",
            "37 readings from number",
        ),
        ("DELETE FROM readings WHERE run_id = 2 AND first = 37", "readings are missing before number 74"),
        ("DELETE FROM readings WHERE run_id = 2 AND first = 111", "111 of 120 readings"),
        ("UPDATE run SET reason = 'operator' WHERE id = 2", "at its end"),
        ("UPDATE run SET recipe = replace(recipe, 'busbar', 'another') WHERE id = 2", "at its start"),
        ("UPDATE statement SET body = replace(body, 'pass', 'fail') WHERE run_id = 2 AND ordinal = 0", "statements"),
        ("DELETE FROM statement WHERE run_id = 2 AND ordinal = 1", "1 of 2 statements"),
        ("UPDATE event SET text = 'another' WHERE run_id = 2", "events"),
        ("UPDATE setting SET verified = 0 WHERE run_id = 2", "settings"),
        ("DELETE FROM setting WHERE run_id = 2", "missing or was added"),
        ("UPDATE readings SET run_id = 2 WHERE run_id = 6 AND first = 333", "27 readings from number 333"),
    ],
)
def test_a_damaged_run_is_named_and_hides_no_other(logbook: Path, statement: str, told: str) -> None:
    changed(logbook, statement)
    with pytest.raises(LogbookError, match=f"run 2 is damaged: .*{told}"):
        load_run(logbook, 2)
    for run_id in (1, 3, 4, 5):
        open_run(logbook, run_id)
    assert len(list_runs(logbook)) == RUNS


def test_a_run_that_is_missing_is_seen(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for table in ("statement", "event", "setting", "instrument", "readings"):
        changed(logbook, f"DELETE FROM {table} WHERE run_id = 6")
    changed(logbook, "DELETE FROM run WHERE id = 6")
    assert main(["logbook", "--logbook", str(logbook), "list"]) == 2
    assert "   6  DAMAGED: it is missing from the file" in capsys.readouterr().out


def test_what_can_still_be_read_is_salvaged(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed(logbook, "UPDATE readings SET data = zeroblob(length(data)) WHERE run_id = 2 AND first = 37")
    export = ["logbook", "--logbook", str(logbook), "export", "2", "--csv", "-"]
    assert main(export) == 2
    assert capsys.readouterr().out == ""
    assert main([*export, "--salvage"]) == 0
    out = capsys.readouterr().out
    assert "# damaged = the 37 readings from number 37 on" in out
    assert out.count("\n") == 2 + 120 - 37


def test_a_statement_that_its_readings_do_not_give_is_told(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever recomputes the digests is found by the readings."""
    with contextlib.closing(sqlite3.connect(logbook, isolation_level=None)) as db:
        body = db.execute("SELECT body FROM statement WHERE run_id = 1").fetchone()[0]
        (uid,) = db.execute("SELECT uid FROM run WHERE id = 1").fetchone()
        db.execute("DELETE FROM statement WHERE run_id = 1")
        db.execute("UPDATE run SET statements = 0 WHERE id = 1")
        told = json.loads(body)
        told["by_readings"]["resistance_ohm"] *= 1.001
        rows.add_row(db, "statement", 1, uid, (0, "2026", json.dumps(told)))
        end = db.execute("SELECT ended, reason, end_text, output_off FROM run WHERE id = 1").fetchone()
        rows.end_run(db, 1, end)
    assert main(["logbook", "--logbook", str(logbook), "check"]) == 2
    out = capsys.readouterr().out.splitlines()
    assert "does not follow from the readings" in out[0]
    assert [line[6:] for line in out[1:]] == ["as it was written"] * 5


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE VIEW theirs AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT * FROM n",
        "CREATE TRIGGER theirs AFTER INSERT ON readings BEGIN UPDATE readings SET data = zeroblob(24); END",
        "CREATE TABLE theirs (x)",
        "CREATE INDEX theirs ON readings(count)",
        "ALTER TABLE run ADD COLUMN theirs TEXT",
    ],
)
def test_a_strangers_tables_are_refused_to_read_and_to_write(logbook: Path, statement: str) -> None:
    changed(logbook, statement)
    before = logbook.read_bytes()
    with pytest.raises(LogbookError, match="no logbook as benchapp writes it"):
        list_runs(logbook)
    with pytest.raises(LogbookError, match="no logbook as benchapp writes it"):
        RunWriter(logbook, HEADER)
    assert logbook.read_bytes() == before


def test_a_huge_value_is_not_taken_in(logbook: Path) -> None:
    changed(logbook, "UPDATE readings SET data = zeroblob(?) WHERE run_id = 2 AND first = 0", 200 * 2**20)
    start = time.monotonic()
    with pytest.raises(LogbookError, match="run 2 is damaged"):
        load_run(logbook, 2)
    assert time.monotonic() - start < 2.0
    open_run(logbook, 3)


def test_a_copy_without_its_log_says_so(tmp_path: Path) -> None:
    writer = RunWriter(tmp_path / "log.sqlite", HEADER)
    writer.append(READINGS, [])
    copy = Path(shutil.copy(tmp_path / "log.sqlite", tmp_path / "copy.sqlite"))
    assert list_runs(tmp_path / "log.sqlite")[0].readings == len(READINGS)
    assert "copy.sqlite-wal was not copied" in list_runs(copy)[0].damage[0]
    shutil.copy(tmp_path / "log.sqlite-wal", tmp_path / "copy.sqlite-wal")
    assert list_runs(copy)[0].readings == len(READINGS)
    writer.close()


def test_a_file_that_cannot_be_written_is_read(logbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a medium that is read-only, with its write-ahead log beside it or without."""
    monkeypatch.setattr("benchapp.logbook.reading.os.access", lambda *_: False)
    assert len(list_runs(logbook)) == RUNS
    assert [path.name for path in logbook.parent.iterdir()] == ["log.sqlite"]
    with contextlib.closing(sqlite3.connect(logbook)) as db, db:
        db.execute("UPDATE run SET id = id")
        for suffix in ("", "-wal"):
            shutil.copy(f"{logbook}{suffix}", f"{logbook.parent}/copy{suffix}")
    assert len(list_runs(logbook.parent / "copy")) == RUNS
    assert not (logbook.parent / "copy-shm").exists()
