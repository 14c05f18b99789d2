import json
from pathlib import Path

import pytest

from benchapp.cli.main import main


def write_run(path: Path, n: int = 60, resistance: float = 2.5e-4) -> None:
    rows = ["time_s,current_A,voltage_V"]
    rows += [f"{0.04 * k},{0.1 * (-1) ** k},{resistance * 0.1 * (-1) ** k + 1e-6 + 1e-9 * (k % 3)}" for k in range(n)]
    path.write_text("\n".join(rows))


def test_each_file_gives_a_line_of_json_and_bad_ones_an_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good, constant, bad = tmp_path / "good.csv", tmp_path / "constant.csv", tmp_path / "bad.csv"
    write_run(good)
    constant.write_text("time_s,current_A,voltage_V\n0,1,1\n1,1,1\n2,1,1\n")
    bad.write_text("nothing")
    status = main(["analyse", str(bad), str(constant), str(good), "--json", "-"])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert status == 2
    assert [line["file"] for line in lines] == [str(bad), str(constant), str(good)]
    assert "columns missing" in lines[0]["error"]
    assert "must be reversed" in lines[1]["error"]
    assert lines[2]["resistance_ohm"] == pytest.approx(2.5e-4, rel=1e-3)
    assert (lines[2]["readings"], lines[2]["blocks"], lines[2]["verdict"]) == (60, 20, None)


def test_what_does_not_exist_is_null(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_run(tmp_path / "short.csv", 3)
    assert main(["analyse", str(tmp_path / "short.csv"), "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["standard_uncertainty_ohm"] is None
    assert result["repeatability_95_ohm"] is None
    assert result["state"] == "settling"


def test_in_words_and_into_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_run(tmp_path / "run.csv")
    assert main(["analyse", str(tmp_path / "run.csv"), "--emf-order", "2"]) == 0
    assert "µΩ" in capsys.readouterr().out
    assert main(["analyse", str(tmp_path / "run.csv"), "--json", str(tmp_path / "out.json")]) == 0
    assert json.loads((tmp_path / "out.json").read_text())["blocks"] == 20
    assert main(["analyse", str(tmp_path / "run.csv"), "--json", str(tmp_path / "no" / "out.json")]) == 2
