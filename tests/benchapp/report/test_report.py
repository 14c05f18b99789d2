"""A report: its digits are those of the record in every form, a run that is not valid has none, names are only text."""

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from benchapp.api import measure
from benchapp.cli.main import main
from benchapp.logbook.query import list_runs
from benchapp.report.content import content_of
from benchapp.result.words import value_in_words
from benchapp.run.recorded import open_run, run_date

_ODD = 'Joint <b>"J&4"</b> #panic("x") $x$ \\u{41} 測'
_RUNS: tuple[tuple[str, dict[str, object]], ...] = (
    ("shunt", {"current": "5 A", "nominal": "250 uohm", "range": "10 mV", "low": "249.5 uohm", "high": "250.5 uohm"}),
    ("bond_wire", {"current": "100 mA", "nominal": "48 mohm", "range": "10 mV", "high": "60 mohm"}),
    ("exchanged_leads", {"current": "1 A", "nominal": "3.3 mohm", "range": "10 mV", "high": "4 mohm"}),
    ("shunt", {"current": "5 A", "nominal": "250 uohm", "range": "10 mV", "name": _ODD}),
)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with those runs."""
    path = tmp_path_factory.mktemp("report") / "log.sqlite"
    for scenario, recipe in _RUNS:
        measure({"blocks": 60, **recipe}, scenario=scenario, logbook=path, speed=60.0)
    return path


def _written(book: Path, number: int, out: Path) -> bytes:
    assert main(["report", str(number), "--logbook", str(book), "--out", str(out)]) == 0
    return out.read_bytes()


def _pdf_text(path: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not here")
    return subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("number", [1, 2, 4])
def test_the_digits_are_those_of_the_record(book: Path, number: int, tmp_path: Path) -> None:
    stated = open_run(book, number).statements[0]
    value = value_in_words(stated)
    page = _written(book, number, tmp_path / "r.html").decode()
    told = json.loads(_written(book, number, tmp_path / "r.json"))
    assert value in page
    assert told["value"] == value
    digits, unit = value.partition("(")[0], value.rpartition(" ")[2]
    assert told["digits"] == digits
    assert told["unit"] == unit
    assert re.sub(r"<[^>]+>", "", page).count(digits) >= 2  # large, and in the sentence
    _written(book, number, tmp_path / "r.pdf")
    assert value in re.sub(r"\s+", " ", _pdf_text(tmp_path / "r.pdf"))


def test_a_run_that_is_not_valid_has_no_value(book: Path, tmp_path: Path) -> None:
    stated = open_run(book, 3).statements[0]
    digits = value_in_words(stated).partition("(")[0].lstrip("-\u2212")
    for form in ("html", "json"):
        text = _written(book, 3, tmp_path / f"r.{form}").decode()
        assert digits not in text
        assert "not valid" in text.lower()
    told = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert (told["digits"], told["value"], told["interval"], told["mark"]) == ("", "", "", "not-valid")
    assert "No statement of conformity" in told["conformity"][0]
    _written(book, 3, tmp_path / "r.pdf")
    text = _pdf_text(tmp_path / "r.pdf")
    assert digits not in text
    assert "NOT VALID" in text


def test_names_are_only_text(book: Path, tmp_path: Path) -> None:
    page = _written(book, 4, tmp_path / "r.html").decode()
    assert "&lt;b&gt;" in page
    assert "<b>&quot;J" not in page
    assert '<b>"J' not in page
    _written(book, 4, tmp_path / "r.pdf")
    text = _pdf_text(tmp_path / "r.pdf")
    assert '#panic("x") $x$' in text
    assert "\\u{41}" in text


def test_the_same_run_gives_the_same_bytes(book: Path, tmp_path: Path) -> None:
    assert _written(book, 1, tmp_path / "a.pdf") == _written(book, 1, tmp_path / "b.pdf")
    assert _written(book, 1, tmp_path / "a.pdf").startswith(b"%PDF")


def test_verdict_rule_and_simulation_are_said(book: Path) -> None:
    run = open_run(book, 1)
    from datetime import datetime

    content = content_of(run, datetime.combine(run_date(run.record.summary), datetime.min.time()))
    assert content.simulated
    assert content.conformity[0] == "Conforms, by repeatability alone"
    assert "guard band 1 U" in content.conformity[1]
    assert len(content.digest) == 64
    assert sum(line.share for line in content.budget) == pytest.approx(1.0, abs=1e-6)
    assert content.certain == 0  # bold has to be earned by accuracy data


@pytest.mark.parametrize(
    ("number", "name", "status", "told"),
    [("1", "r.docx", 2, ".html"), ("99", "r.html", 2, "no run 99"), ("1", "no/such/folder/r.html", 2, "cannot be")],
)
def test_what_cannot_be_written_is_told(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], number: str, name: str, status: int, told: str
) -> None:
    assert main(["report", number, "--logbook", str(book), "--out", str(tmp_path / name)]) == status
    assert told in capsys.readouterr().err


def test_the_logbook_is_no_target(book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "log.html"
    copy.write_bytes(book.read_bytes())
    assert main(["report", "1", "--logbook", str(copy), "--out", str(copy)]) == 2
    assert "would be lost" in capsys.readouterr().err
    assert len(list_runs(copy)) == len(_RUNS)


def test_of_several_parts_one_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from benchapp.api import Logbook
    from sim.scenario import load_scenario

    book = tmp_path / "log.sqlite"
    recipe = {**load_scenario("shunt_beside_standard").recipe, "rounds": 5}
    run = measure(recipe, scenario="shunt_beside_standard", logbook=book, speed=400.0)
    names = [part.part for part in run.parts]
    assert len(names) > 1
    assert not run.statement.is_standard
    assert Logbook(book)[1].value_ohm == run.statement.resistance_ohm
    out = tmp_path / "r.html"
    assert main(["report", "1", "--logbook", str(book), "--out", str(out)]) == 2
    assert names[1] in capsys.readouterr().err
    assert not out.exists()
    for form in ("html", "pdf", "json"):
        out = tmp_path / f"r.{form}"
        assert main(["report", "1", "--logbook", str(book), "--out", str(out), "--part", names[1]]) == 0
    told = json.loads(out.read_text("utf-8"))
    assert told["value"] == value_in_words(run.parts[1])
    assert ["part", names[1]] in told["specimen"]
    assert main(["report", "1", "--logbook", str(book), "--out", str(out), "--part", "nobody"]) == 2
