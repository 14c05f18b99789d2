"""What one can get wrong, and what is said then.

python -m tests.benchapp.cli.test_bad_input      prints the list with its messages
"""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from pathlib import Path

import pytest

from benchapp.cli.main import main

FILES = {
    "no-unit.toml": 'current = "0.1"\n',
    "number.toml": "current = 0.1\n",
    "typo.toml": 'curent = "1 A"\n',
    "syntax.toml": 'current = "1 A\n',
    "two-stops.toml": 'current = "1 A"\nblocks = 5\nduration = "3 s"\n',
    "three-faults.toml": 'current = "1 V"\nnplc = "many"\nsigns = "++"\n',
    "no-safe.toml": 'kind = "source"\n[cap.level]\nset = "I {value}"\n[cap.output]\nset = "O {value}"\n'
    '[cap.compliance]\nset = "U {value}"\n',
    "typo-cap.toml": 'kind = "source"\n[sequence]\nsafe = ["OFF"]\n[cap.lebel]\nset = "I {value}"\n',
    "voltmeter.toml": 'kind = "voltmeter"\n[cap.read]\nget = "READ?"\n',
    "empty.csv": "",
    "columns.csv": "time,current,voltage\n0,1,1\n",
    "text.csv": "time_s,current_A,voltage_V\n0,0.1,1e-6\n1,abc,1e-6\n",
    "backwards.csv": "time_s,current_A,voltage_V\n1,0.1,1e-6\n0,-0.1,1e-6\n",
    "constant.csv": "time_s,current_A,voltage_V\n0,0.1,1e-6\n1,0.1,1e-6\n2,0.1,1e-6\n",
    "short.csv": "time_s,current_A,voltage_V\n0,0.1\n",
    "not-a-logbook.sqlite": "something else, long enough to be looked at\n" * 30,
    "bench.toml": "[specimen]\nohm = 1\n",
}
_SHUNT = ["measure", "--scenario", "shunt"]
_OWN = ["measure", "--source", "TCPIP::127.0.0.1::9::SOCKET", "--voltmeter", "TCPIP::127.0.0.1::9::SOCKET"]
CASES: list[tuple[list[str], int, list[str]]] = [
    (["measure"], 2, ["current: missing"]),
    ([*_OWN], 2, ["current: missing", "100 mA"]),
    ([*_SHUNT, "--current", "0.1"], 2, ["--current", "'0.1'", 'Write "0.1 A"']),
    ([*_SHUNT, "--current", "0,1 A"], 2, ["--current", "'0,1 A'", "decimal point"]),
    ([*_SHUNT, "--current", "100 mV"], 2, ["--current", "'mV' is no unit of current"]),
    ([*_SHUNT, "--settle", "20"], 2, ["--settle", 'Write "20 s"']),
    ([*_SHUNT, "--signs", "+*"], 2, ["--signs", "'+*'", "+--+"]),
    ([*_SHUNT, "--signs", "++"], 2, ["--signs", "never changed"]),
    ([*_SHUNT, "--nplc", "0"], 2, ["--nplc", "'0'", "Write a number"]),
    ([*_SHUNT, "--blocks", "2.5"], 2, ["--blocks", "'2.5'", "whole number"]),
    ([*_SHUNT, "--low", "2 mohm", "--high", "1 mohm"], 2, ["--low", "Exchange"]),
    ([*_SHUNT, "--current", "20 A"], 4, ["house limit", "limits.toml"]),
    ([*_SHUNT, "--compliance", "100 V"], 4, ["compliance", "house limit"]),
    (["no-unit.toml"], 2, ["no-unit.toml", "current", "'0.1'", 'Write "0.1 A"']),
    (["number.toml"], 2, ["number.toml", "current", "'0.1'", "needs its unit"]),
    (["typo.toml"], 2, ["typo.toml", "curent", "Known are"]),
    (["syntax.toml"], 2, ["syntax.toml", "no TOML", "line 1"]),
    (["two-stops.toml"], 2, ["two-stops.toml", "duration", "beside blocks"]),
    (["three-faults.toml"], 2, ["current", "nplc", "signs"]),
    (["missing.toml"], 2, ["missing.toml", "cannot be read"]),
    (["measure", "--scenario", "moon"], 2, ["--scenario", "'moon'", "Choose one of"]),
    (["measure", "--scenario", "bench.toml"], 2, ["bench.toml", "specimen.ohm", "Known are"]),
    (["measure", "--source", "here", "--voltmeter", "5025", "--current", "1 A"], 2, ["--source", "'here'", "TCPIP::"]),
    ([*_OWN, "--current", "1 A"], 3, ["TCPIP::127.0.0.1::9::SOCKET", "cannot be reached", "host and port"]),
    ([*_SHUNT, "--source-dialect", "latin"], 2, ["--source-dialect", "'latin'", "Choose one of"]),
    ([*_SHUNT, "--source-dialect", "no-safe.toml"], 2, ["no-safe.toml", "sequence.safe", "switches the output off"]),
    ([*_SHUNT, "--source-dialect", "typo-cap.toml"], 2, ["typo-cap.toml", "cap.lebel", "Unknown"]),
    ([*_SHUNT, "--source-dialect", "voltmeter.toml"], 2, ["voltmeter.toml", "kind", "'voltmeter'"]),
    ([*_SHUNT, "--logbook", "not-a-logbook.sqlite"], 2, ["not-a-logbook.sqlite", "--logbook"]),
    ([*_SHUNT, "--json", "nowhere/x.json"], 2, ["--json", "nowhere/x.json", "Choose a path"]),
    (["analyse", "empty.csv"], 2, ["empty.csv", "columns missing", "time_s,current_A,voltage_V"]),
    (["analyse", "columns.csv"], 2, ["columns.csv", "time,current,voltage"]),
    (["analyse", "text.csv"], 2, ["text.csv", "line 3, current_A", "'abc'"]),
    (["analyse", "backwards.csv"], 2, ["backwards.csv", "line 3, time_s", "Sort"]),
    (["analyse", "constant.csv"], 2, ["constant.csv", "no block", "must be reversed"]),
    (["analyse", "short.csv"], 2, ["short.csv", "line 2", "2 values under 3 columns"]),
    (["analyse", "missing.csv"], 2, ["missing.csv", "cannot be read"]),
    (["logbook", "--logbook", "none.sqlite", "list"], 2, ["none.sqlite", "no logbook", "--logbook"]),
]


def _arguments(case: list[str]) -> list[str]:
    return ["measure", "--source", "TCPIP::h::1::SOCKET", "--voltmeter", "TCPIP::h::2::SOCKET", *case] if (
        case[0].endswith(".toml")
    ) else case  # fmt: skip


def _write_files(folder: Path) -> None:
    for name, text in FILES.items():
        (folder / name).write_text(text)


@pytest.mark.parametrize(("case", "status", "words"), CASES, ids=lambda value: "" if isinstance(value, int) else None)
def test_bad_input_is_told_with_place_value_and_remedy(
    case: list[str],
    status: int,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _write_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path))
    assert main(_arguments(case)) == status
    message = capsys.readouterr().err
    for word in words:
        assert word in message


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        os.environ["BENCHAPP_CONFIG"] = os.environ["BENCHAPP_DATA"] = name
        _write_files(Path(name))
        os.chdir(name)
        for written, _expected, _words in CASES:
            err = io.StringIO()
            with contextlib.redirect_stderr(err):
                exit_status = main(_arguments(written))
            print(f"$ benchapp {' '.join(_arguments(written))}\n  exit {exit_status}: {err.getvalue().strip()}")
