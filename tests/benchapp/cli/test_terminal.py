"""What reaches a terminal or the next program: plain text, whatever a name holds and whoever reads."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.errors import Fault
from drivers.errors import ReplyError
from drivers.plain import plain, plain_block
from tests.faults.logbooks import write_logbook

EVIL = "shunt\x1b]0;owned\x07\x1b[2J\r\n   9  pass\u202e\x9b31m\ud800"
PROGRAM = [sys.executable, "-m", "benchapp.cli.main"]


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("terminal") / "log.sqlite"
    write_logbook(path)
    return path


def steers(text: str) -> bool:
    return not text.replace("\n", "").replace("\t", "").isprintable()


def test_every_character_that_steers_is_shown() -> None:
    assert plain(EVIL) == (r"shunt\x1b]0;owned\x07\x1b[2J\x0d\x0a   9  pass\u202e\x9b31m\ud800")
    assert plain("1.000 mΩ, 23 °C, k\u00a0=\u20092") == "1.000 mΩ, 23 °C, k\u00a0=\u20092"
    assert plain_block("a\n\tb\x1b") == "a\n\tb\\x1b"
    for error in (Fault(EVIL, EVIL, EVIL, EVIL, EVIL), ReplyError(EVIL, resource=EVIL, command=EVIL, remedy=EVIL)):
        assert str(error).isprintable()


def test_a_run_by_an_evil_name_shows_it_harmless(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = str(tmp_path / "log.sqlite")
    options = ["--scenario", "shunt", "--blocks", "3", "--speed", "20", "--logbook", log]
    assert main(["measure", *options, "--name", EVIL, "--operator", EVIL]) == 0
    for command in (["list"], ["show", "1"], ["export", "1", "--csv", "-"], ["show", "2"]):
        main(["logbook", "--logbook", log, *command])
    captured = capsys.readouterr()
    assert not steers(captured.out)
    assert not steers(captured.err)
    assert "\n   9  pass" not in captured.out
    assert r"shunt\x1b]0;owned" in captured.out


def _run(arguments: list[str], **options: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([*PROGRAM, *arguments], check=False, timeout=60, **options)  # type: ignore[call-overload,no-any-return]


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_a_terminal_without_omega(logbook: Path, encoding: str) -> None:
    told = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    shown = _run(["logbook", "--logbook", str(logbook), "show", "1"], capture_output=True, env=told)
    assert (shown.returncode, shown.stderr) == (0, b"")
    assert ("mΩ" if encoding == "utf-8" else r"m\u03a9") in shown.stdout.decode(encoding)
    data = _run(["logbook", "--logbook", str(logbook), "export", "1", "--json", "-"], capture_output=True, env=told)
    assert json.loads(data.stdout.decode("utf-8"))["run_id"] == 1


def test_a_reader_that_goes_away(logbook: Path) -> None:
    command = f"{' '.join(PROGRAM)} logbook --logbook {logbook} show 6 | head -c 1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, check=False, timeout=60)
    assert (done.stdout, done.stderr) == (b"r0\n", b"")


def test_a_run_whose_reader_goes_away_is_measured_to_its_end(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    options = f"--scenario shunt --blocks 20 --speed 20 --logbook {log} --stream - 2>&1 | head -c 1"
    done = subprocess.run(
        ["bash", "-c", f"{' '.join(PROGRAM)} measure {options}; exit ${{PIPESTATUS[0]}}"],
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert main(["logbook", "--logbook", str(log), "show", "1"]) == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full here")
@pytest.mark.parametrize(
    "options", [[], ["--json", "/dev/full"], ["--stream", "/dev/full"], ["--transcript", "/dev/full"]]
)
def test_a_full_device_ends_no_run(tmp_path: Path, options: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    log = str(tmp_path / "log.sqlite")
    with Path("/dev/full").open("w") as full:
        measure = ["measure", "--scenario", "shunt", "--blocks", "3", "--speed", "20", "--logbook", log, *options]
        done = _run(measure, stdout=full, stderr=subprocess.PIPE)
    told = done.stderr.decode()
    assert done.returncode == 2
    assert "Traceback" not in told
    assert "No space left on device" in told
    assert main(["logbook", "--logbook", log, "list"]) == 0
    assert "completed" in capsys.readouterr().out
