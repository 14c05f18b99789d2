"""The budget and the decision on the command line."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchapp.cli.main import main
from benchapp.errors import InputError
from benchapp.logbook.database import default_path
from benchapp.logbook.query import list_runs
from benchapp.result.card import load_card
from benchapp.result.json_object import budget_from, budget_rows
from benchapp.run.recorded import open_run

CARD = """
[voltmeter]
due = 2099-01-01
[[voltmeter.range]]
range = "10 mV"
reading_ppm = 50
range_ppm = 4
resolution = "10 nV"
[source]
[[source.range]]
range = "10 A"
reading_ppm = 200
range_ppm = 20
"""


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    (tmp_path / "card.toml").write_text(CARD)


def result(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert main(list(arguments)) == 0
    parsed: dict[str, Any] = json.loads(capsys.readouterr().out)
    return parsed


def test_card_confidence_and_budget(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    card = str(tmp_path / "card.toml")
    plain = result(capsys, "measure", "--scenario", "shunt", "--speed", "40", "--blocks", "20", "--json", "-")
    whole = result(capsys, "budget", str(plain["run_id"]), "--json", "--instrument-card", card)
    rows = {row["name"]: row for row in whole["budget"]}
    R = whole["resistance_ohm"]
    # Rectangular limits: ppm / sqrt(3); source 200 ppm + 20 ppm * 10 A / 5 A.
    assert rows["voltmeter gain"]["contribution_ohm"] == pytest.approx(R * 50e-6 / 3**0.5)
    assert rows["source current"]["contribution_ohm"] == pytest.approx(R * 240e-6 / 3**0.5)
    assert rows["voltmeter linearity"]["contribution_ohm"] == pytest.approx(4e-6 * 0.01 / 3**0.5 / 5.0)
    assert rows["voltmeter offset"]["contribution_ohm"] == 0.0
    u2 = sum(row["contribution_ohm"] ** 2 for row in whole["budget"])
    assert whole["standard_uncertainty_ohm"] == pytest.approx(u2**0.5)
    assert whole["repeatability_95_ohm"] == plain["repeatability_95_ohm"]
    assert whole["budget"][0]["name"] == "source current"
    wider = result(capsys, "budget", str(plain["run_id"]), "--json", "--confidence", "0.99")
    assert wider["expanded_uncertainty_ohm"] > plain["expanded_uncertainty_ohm"]
    assert main(["budget", str(plain["run_id"]), "--instrument-card", card]) == 0
    assert "source current" in capsys.readouterr().out


def test_a_recipe_s_confidence_is_stated_everywhere(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["measure", "--scenario", "shunt", "--speed", "40", "--blocks", "20", "--confidence", "0.99"]
    told = result(capsys, *arguments, "--json", "-")
    again = result(capsys, "logbook", "export", str(told["run_id"]), "--json", "-")
    assert told["coverage_probability"] == again["coverage_probability"] == 0.99
    assert told["expanded_uncertainty_ohm"] == pytest.approx(again["expanded_uncertainty_ohm"], rel=1e-12)
    assert told["expanded_uncertainty_ohm"] > told["repeatability_95_ohm"]


def test_reference_temperature_and_verdict_of_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    rows = ["time_s,current_A,voltage_V,temperature_C"]
    noise = np.random.default_rng(5).normal(0, 1e-9, 60)
    rows += [f"{0.1 * k},{(-1) ** k},{1.1e-3 * (-1) ** k + noise[k]},30" for k in range(60)]
    path.write_text("\n".join(rows))
    options = ["--reference-temperature", "20 degC", "--temperature-coefficient", "0.00393 / K", "--json", "-"]
    corrected = result(capsys, "analyse", str(path), *options)
    assert corrected["resistance_ohm"] == pytest.approx(1.1e-3 * 0.9622, rel=1e-4)  # IEC 60228:2004, Annex B
    assert "specimen temperature" in [row["name"] for row in corrected["budget"]]
    judged = result(capsys, "analyse", str(path), "--high", "1.2 mohm", "--json", "-")
    assert judged["verdict"] == "pass"
    simple = result(capsys, "analyse", str(path), "--high", "1.0 mohm", "--rule", "simple", "--json", "-")
    assert simple["verdict"] == "fail"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[voltmeter", "no TOML"),
        ("", "names no instrument"),
        ("[thermometer]", "thermometer: unknown"),
        ("[voltmeter]", "voltmeter.range: missing"),
        ('[[voltmeter.range]]\nrange = "10 mA"', r"voltmeter.range\[0\].range: 'mA' is no unit of voltage"),
        ('[[voltmeter.range]]\nrange = "1 V"\nreading_ppm = "x"', "reading_ppm: no usable number"),
        ('[[voltmeter.range]]\nrange = "1 V"\nppm = 3', "ppm: unknown"),
    ],
)
def test_bad_cards_are_told(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        load_card(path)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--reference-temperature", "20"], "--reference-temperature: this is no temperature"),
        (["--temperature-coefficient", "0.004"], "--temperature-coefficient: this is no temperature coefficient"),
        (["--reference-temperature", "20 degC"], "--temperature-coefficient: missing"),
    ],
)
def test_bad_temperature_options(capsys: pytest.CaptureFixture[str], options: list[str], message: str) -> None:
    assert main(["measure", "--scenario", "shunt", *options]) == 2
    assert message in capsys.readouterr().err


def test_the_record_keeps_the_budget_as_it_was_stated(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    options = ("--speed", "40", "--blocks", "20", "--instrument-card", str(tmp_path / "card.toml"), "--json", "-")
    told = result(capsys, "measure", "--scenario", "shunt", *options)
    kept = list_runs(default_path())[-1].stated
    assert kept is not None
    budget = budget_from(kept)
    assert budget is not None
    assert budget_rows(budget) == told["budget"]
    assert budget.expanded_uncertainty == told["expanded_uncertainty_ohm"]
    assert main(["logbook", "show", str(told["run_id"])]) == 0
    shown = capsys.readouterr().out
    assert "voltmeter gain" in shown
    assert "all contributions" in shown
    # The logbook's view states what was stated, not what the scatter alone gives.
    stated = open_run(default_path(), told["run_id"]).statements[0]
    assert stated.expanded_uncertainty_ohm == told["expanded_uncertainty_ohm"]
    assert stated.resistance_ohm == told["resistance_ohm"]
