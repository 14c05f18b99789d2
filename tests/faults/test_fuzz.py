"""Some mutated inputs of every kind; `make fuzz` tries 200,000. And those that once were findings."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from benchapp.cli.main import main
from tests.faults.fuzz.__main__ import tried
from tests.faults.fuzz.kinds import kinds

_EACH = 60


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("CONFIG", "DATA", "RUNTIME"):
        monkeypatch.setenv(f"BENCHAPP_{name}", str(tmp_path))
    return tmp_path


def test_nothing_escapes(folders: Path) -> None:
    before = sorted(Path.cwd().glob("[!._]*"))
    for kind in kinds(folders):
        found = [f"{kind.name} {number}: {what}" for number in range(_EACH) if (what := tried(kind, 10**6 + number))]
        assert found == []
    assert sorted(Path.cwd().glob("[!._]*")) == before  # no file is left where the trial was started


_DIGITS = "9" * 400
_MEASURE = ["measure", "--scenario", "shunt"]
EXTREME = [
    ([*_MEASURE, "--current", "1e999999999 A"], "not finite"),
    ([*_MEASURE, "--current", f"{_DIGITS} A"], "no bench has such a current"),
    ([*_MEASURE, "--current", f"1{'0' * 5000} A"], "this is no current"),
    ([*_MEASURE, "--current", f"1e{'9' * 30} A"], "not finite"),
    ([*_MEASURE, "--current", "1e-999999999 A"], "not finite"),
    ([*_MEASURE, "--current", f"1 {'x' * 70000}"], "this is no current"),
    ([*_MEASURE, "--current", "1 A**9**9**9"], "no unit"),
    ([*_MEASURE, "--blocks", _DIGITS], "no usable number"),
    ([*_MEASURE, "--nplc", "nan"], "no usable number"),
    ([*_MEASURE, "--seed", "-1"], "seed"),
    ([*_MEASURE, "--seed", _DIGITS], "seed"),
    ([*_MEASURE, "--logbook", "x" * 300], "File name too long"),
    ([*_MEASURE, "--json", "x" * 300], "File name too long"),
    ([*_MEASURE, "--transcript", "x" * 300], "File name too long"),
    (["measure", "--scenario", "x" * 300 + ".toml"], "File name too long"),
    ([*_MEASURE, "--source-dialect", "x" * 300 + ".toml"], "there is no source dialect"),
    ([*_MEASURE, "--instrument-card", "x" * 300], "File name too long"),
    (["x" * 300 + ".toml"], "invalid choice"),
    (["measure", "x" * 300 + ".toml"], "File name too long"),
    (["analyse", "x" * 300], "File name too long"),
    (["analyse", "far.csv"], "far.csv"),
    (["analyse", "aperture.csv"], "# aperture_s: cannot be read"),
    (["off", "--source", "TCPIP::a..b::5::SOCKET"], "no name of a host"),
    (["instruments", "identify", "TCPIP::a..b::5::SOCKET"], "no name of a host"),
    (["off", "--source", "TCPIP\ud800::1"], "no VISA resource string"),
    (["measure", "deep.toml"], "no TOML"),
    (["measure", "digits.toml"], "no TOML"),
    (["logbook", "show", "99999999999999999999"], "there is no run"),
    (["logbook", "show", "-1"], "there is no run"),
    (["logbook", "--logbook", "x" * 300, "list"], "File name too long"),
    (["budget", "99999999999999999999"], "there is no run"),
]


@pytest.mark.parametrize(("arguments", "told"), EXTREME, ids=lambda value: str(value)[-40:])
def test_what_is_extreme_is_told_once(
    arguments: list[str], told: str, folders: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folders)
    assert main([*_MEASURE, "--speed", "50", "--blocks", "1"]) == 0
    rows = [f"{k}e299,{(-1) ** k},{(-1) ** k}" for k in range(1, 9)]
    Path("far.csv").write_text("\n".join(["time_s,current_A,voltage_V", *rows]))
    Path("aperture.csv").write_text("\n".join(["# aperture_s = -1", "time_s,current_A,voltage_V", "0,1,1", "1,-1,-1"]))
    Path("deep.toml").write_text("x = " + "[" * 5000)
    Path("digits.toml").write_text(f"blocks = {'9' * 5000}")
    capsys.readouterr()
    try:
        status = main(arguments)
    except SystemExit as ended:
        status = int(str(ended.code))
    said = capsys.readouterr().err
    assert status == 2, said
    assert told in said
    assert len(said) < 3000
    assert os.listdir(folders)
