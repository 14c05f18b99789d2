"""An unknown against a standard on a bench whose source is off by 0.3 %."""

import json
import re
import sqlite3
from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.logbook.database import default_path

SHUNT = Path(__file__).parents[3] / "sim" / "scenarios" / "shunt.toml"


@pytest.fixture
def runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> list[str]:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    ids = []
    for turn, letter in enumerate("SXS"):
        text = SHUNT.read_text("utf-8").replace("[source]", "[source]\ngain_error = 0.003")
        lines = [
            f"resistance_ohm = {'2.5e-4' if letter == 'S' else '1.0e-4'}" if line.startswith("resistance_ohm") else line
            for line in text.splitlines()
        ]
        path = tmp_path / f"{letter}.toml"
        path.write_text("\n".join(lines))
        options = ["--scenario", str(path), "--seed", str(100 + turn), "--speed", "40", "--blocks", "20"]
        assert main(["measure", *options, "--json", "-"]) == 0
        ids.append(str(json.loads(capsys.readouterr().out)["run_id"]))
    return ids


def test_the_source_falls_out(runs: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    standard = ("--standard", "250 uohm", "--standard-uncertainty", "2 nohm")
    assert main(["compare", "SXS", *runs, *standard, "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["resistance_ohm"] - 1e-4) <= 1.5 * found["expanded_uncertainty_ohm"]
    assert found["expanded_uncertainty_ohm"] < 2e-8  # the gain error of the source alone would be 3e-7
    assert {row["name"] for row in found["budget"]} == {"ratio", "standard"}
    assert found["validity"] == "doubtful"
    assert [reason["code"] for reason in found["reasons"]] == ["drift-not-seen"]
    assert main(["compare", "SXS", *runs, *standard, "--drift-model", "linear", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["validity"] == "valid"
    with sqlite3.connect(default_path()) as db:
        assert db.execute("SELECT count(*) FROM comparison").fetchone() == (2,)
    db.close()
    assert main(["compare", "SXS", *runs, *standard]) == 0
    assert re.search(r"R_X / R_S = 0\.(3999|4000)", capsys.readouterr().out)


@pytest.mark.parametrize(
    ("order", "count", "word"), [("SX", 3, "one run for each"), ("SYS", 3, "of S and X"), ("SX", 2, "in turns")]
)
def test_what_cannot_be_compared(
    runs: list[str], capsys: pytest.CaptureFixture[str], order: str, count: int, word: str
) -> None:
    assert main(["compare", order, *runs[:count], "--standard", "250 uohm"]) == 2
    assert word in capsys.readouterr().err
