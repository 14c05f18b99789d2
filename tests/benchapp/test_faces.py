"""One run's statement through every face: equal to the digit."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from benchapp.cli.main import main
from benchapp.logbook.query import list_runs
from benchapp.quantity import engineering
from benchapp.result.json_object import statement_from, statement_object, to_line
from benchapp.result.statement import Statement
from benchapp.result.words import value_in_words
from benchapp.run.recorded import open_run
from benchapp.ui.logbook.run_list import cell_text, row_of
from benchapp.ui.presentation import Trust, nominal_power, present

CARD = """
[voltmeter]
serial = "V-12"
due = 2099-01-01
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 30
range_ppm = 4
[source]
[[source.range]]
range = "10 A"
reading_ppm = 50
range_ppm = 10
[[source.range]]
range = "1 A"
reading_ppm = 50
range_ppm = 10
"""


@pytest.fixture(params=["valid", "not-valid"])
def measured(request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    card = tmp_path / "accuracy.toml"
    card.write_text(CARD)
    bench = "shunt" if request.param == "valid" else "open_sense_lead"
    arguments = ["measure", "--scenario", bench, "--speed", "40", "--logbook", str(tmp_path / "log.sqlite")]
    arguments += ["--accuracy", str(card), "--coverage", "0.99", "--low", "0.1 mohm", "--high", "0.5 mohm"]
    status = main([*arguments, "--json", str(tmp_path / "result.json")])
    told = capsys.readouterr().out
    body = json.loads((tmp_path / "result.json").read_text("utf-8"))
    assert status == (0 if request.param == "valid" else 4)
    assert body["validity"] == request.param
    return {"body": body, "told": told, "logbook": tmp_path / "log.sqlite", "folder": tmp_path}


def test_all_faces_state_the_same(measured: dict[str, Any], capsys: pytest.CaptureFixture[str]) -> None:
    body, logbook = measured["body"], measured["logbook"]
    stated = statement_from(body)
    assert json.loads(to_line(statement_object(stated, {"run_id": body["run_id"]}))) == body
    value, U = value_in_words(stated), engineering(stated.expanded_uncertainty_ohm, "ohm", 2)
    # Terminal, list, show, export as JSON and as CSV.
    for command in (["list"], ["show", "1"]):
        assert main(["logbook", "--logbook", str(logbook), *command]) == 0
        text = capsys.readouterr().out
        assert value in text
        assert ("NOT VALID" in text) == (body["validity"] == "not-valid")
    assert value in measured["told"]
    assert U in measured["told"]
    assert "99 % interval" in measured["told"]
    assert main(["logbook", "--logbook", str(logbook), "export", "1", "--json", "-"]) == 0
    exported = json.loads(capsys.readouterr().out)
    assert {key: exported[key] for key in body} == body
    assert main(["logbook", "--logbook", str(logbook), "export", "1", "--csv", "-"]) == 0
    head = dict(line[2:].split(" = ", 1) for line in capsys.readouterr().out.splitlines() if line.startswith("# "))
    assert head["stated"] == value
    assert U in head["interval"]
    assert head["validity"] == body["validity"]
    # Opened again: what was stated, not what is computed today.
    run = open_run(logbook, 1)
    assert run.statements == (stated,)
    assert run.snapshot.statement == stated
    _screen_and_list(stated, run.snapshot.status, logbook)


def _screen_and_list(stated: Statement, status: Any, logbook: Path) -> None:
    run = open_run(logbook, 1)
    shown = present(stated, run.recipe, power=nominal_power(run.recipe), status=status, planned_end=True)
    row = row_of(list_runs(logbook)[0])
    assert shown.number is not None
    assert row.number == shown.number
    cells = [cell_text(row, column) for column in range(7)]
    if stated.verdict is None:
        assert (shown.caption, shown.reason) == ("no interval", "A sense lead is open")
        assert (shown.verdict, shown.trust, shown.number.certain) == ("", Trust.NOT_VALID, 0)
        assert cells[6] == "not valid, a sense lead is open"
    else:
        assert shown.caption == "99 % interval, all contributions"
        assert (shown.verdict, shown.trust) == (str(stated.verdict), Trust.ALL)
        assert cells[6].startswith(f"{stated.verdict}, risk ")


def test_a_reanalysis_stands_beside_and_both_stay(measured: dict[str, Any], capsys: pytest.CaptureFixture[str]) -> None:
    logbook = measured["logbook"]
    again = ["logbook", "--logbook", str(logbook), "reanalyse", "1", "--coverage", "0.95", "--json", "-"]
    main([*again, "--accuracy", str(measured["folder"] / "accuracy.toml")])
    body = json.loads(capsys.readouterr().out)
    run = open_run(logbook, 1)
    assert run.statements == (statement_from(measured["body"]), statement_from(body))
    for key in ("resistance_ohm", "standard_uncertainty_ohm", "validity", "scope", "flags", "not_tested"):
        assert body[key] == measured["body"][key], key
    assert body["expanded_uncertainty_ohm"] < measured["body"]["expanded_uncertainty_ohm"]


def test_the_exported_file_analyses_to_the_same(measured: dict[str, Any], capsys: pytest.CaptureFixture[str]) -> None:
    target = measured["folder"] / "run.csv"
    main(["logbook", "--logbook", str(measured["logbook"]), "export", "1", "--csv", str(target)])
    with target.open() as stream:
        assert len(list(csv.reader(stream))) > 80
    options = ["--accuracy", str(measured["folder"] / "accuracy.toml"), "--coverage", "0.99"]
    main(["analyse", str(target), *options, "--low", "0.1 mohm", "--high", "0.5 mohm", "--json", "-"])
    again, body = json.loads(capsys.readouterr().out), measured["body"]
    assert {key: again[key] for key in again.keys() - {"file"}} == {key: body[key] for key in body.keys() - {"run_id"}}
