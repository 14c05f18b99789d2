"""A logbook as it was written before statements were kept whole opens, and its runs keep what was stated."""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.logbook.database import open_database
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.query import list_runs
from benchapp.result.json_object import statement_from
from benchapp.result.validity import Validity
from benchapp.run.recorded import open_run

KEPT = Path(__file__).with_name("kept") / "schema-1.sqlite"


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    return Path(shutil.copy(KEPT, tmp_path / "logbook.sqlite"))


def test_runs_keep_what_was_stated(logbook: Path) -> None:
    with sqlite3.connect(KEPT) as db:
        before = {run_id: json.loads(text) for run_id, text in db.execute("SELECT id, result FROM run")}
    db.close()
    summaries = list_runs(logbook)
    assert [summary.run_id for summary in summaries] == sorted(before)
    for summary in summaries:
        assert summary.status == "completed"
        assert summary.stated is not None
        stated, was = statement_from(summary.stated), before[summary.run_id]
        for key in ("resistance_ohm", "standard_uncertainty_ohm", "expanded_uncertainty_ohm", "coverage_factor"):
            assert getattr(stated, key) == was[key]
        assert summary.stated["decision"] == was["decision"]
        assert summary.stated["budget"] == was["budget"]
        assert open_run(logbook, summary.run_id).statements == (stated,)


def test_an_open_lead_of_then_has_no_verdict_now(logbook: Path) -> None:
    open_lead = open_run(logbook, 2).statements[0]
    assert open_lead.validity is Validity.NOT_VALID
    assert open_lead.verdict is None
    assert [reason.code for reason in open_lead.reasons] == ["open-lead"]


def test_reading_changes_nothing(logbook: Path) -> None:
    before = logbook.read_bytes()
    list_runs(logbook)
    open_run(logbook, 1)
    assert logbook.read_bytes() == before
    assert [path.name for path in logbook.parent.iterdir()] == ["logbook.sqlite"]


def test_a_copy_is_made_first_and_never_written_over(logbook: Path) -> None:
    open_database(logbook, create=False).close()
    copy = logbook.with_name("logbook.sqlite.schema-1.backup")
    with sqlite3.connect(copy) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
        assert db.execute("SELECT count(*) FROM run").fetchone() == (3,)
    db.close()
    assert [path.name for path in logbook.parent.iterdir() if "part" in path.name] == []


def test_a_newer_file_is_refused_in_words(logbook: Path) -> None:
    with sqlite3.connect(logbook) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(LogbookError, match="written by a newer version"):
        list_runs(logbook)


def test_it_is_shown_and_reanalysed(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["logbook", "--logbook", str(logbook), "reanalyse", "1", "--emf-order", "2"]) == 0
    assert main(["logbook", "--logbook", str(logbook), "show", "1"]) == 0
    assert "re-analysis 1" in capsys.readouterr().out


def test_a_reanalysis_that_leaves_nothing_is_refused_and_not_kept(
    logbook: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    again = ["logbook", "--logbook", str(logbook), "reanalyse", "1", "--leave-out", "0 s to 1000 s: all of it"]
    assert main(again) == 2
    assert "leaves too few readings" in capsys.readouterr().err
    assert len(open_run(logbook, 1).statements) == 1


@pytest.mark.parametrize(("schema", "statements"), [(2, 2), (3, 1)])
def test_a_logbook_of_before_is_read_unchanged_and_brought_up_by_the_next_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], schema: int, statements: int
) -> None:
    path = Path(shutil.copy(KEPT.with_name(f"schema-{schema}.sqlite"), tmp_path / "logbook.sqlite"))
    with sqlite3.connect(path) as db:
        stated = [body for (body,) in db.execute("SELECT body FROM statement ORDER BY id")]
    db.close()
    before = path.read_bytes()
    found = [body for summary in list_runs(path) for body in summary.statements]
    assert sorted(map(json.dumps, found)) == sorted(json.dumps(json.loads(body)) for body in stated)
    assert len(open_run(path, 1).statements) == statements
    assert path.read_bytes() == before
    options = ["--scenario", "shunt", "--speed", "50", "--blocks", "2", "--logbook", str(path)]
    assert main(["measure", *options]) in (0, 4)
    assert (tmp_path / f"logbook.sqlite.schema-{schema}.backup").exists()
    assert main(["logbook", "--logbook", str(path), "check"]) == 0
    assert capsys.readouterr().out.count("as it was written") == 3
