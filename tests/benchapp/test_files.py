"""A target that is an input is refused, and what stood there stays where nothing comes of it."""

from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.errors import InputError
from benchapp.files import replacing
from benchapp.logbook.query import list_runs

_CSV = "time_s,current_A,voltage_V\n" + "".join(f"{k},{(-1) ** k},{1e-3 * (-1) ** k + k * 1e-9}\n" for k in range(12))


def _half(path: Path) -> None:
    with replacing(path, "--json") as stream:
        stream.write("half")
        raise OSError(28, "No space left on device")


def test_a_file_stays_until_the_new_one_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    path.write_text("before")
    with pytest.raises(InputError, match="No space left"):
        _half(path)
    assert path.read_text() == "before"
    with replacing(path, "--json"):
        pass
    assert path.read_text() == "before"
    with replacing(path, "--json") as stream:
        stream.write("after")
    assert path.read_text() == "after"
    assert [p.name for p in tmp_path.iterdir()] == ["result.json"]


def test_no_command_writes_over_what_it_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    csv, log = tmp_path / "run.csv", tmp_path / "log.sqlite"
    csv.write_text(_CSV)
    recipe = tmp_path / "recipe.toml"
    recipe.write_text('current = "5 A"\nblocks = 6\nrange = "10 mV"\n')
    assert main(["measure", str(recipe), "--scenario", "shunt", "--speed", "40", "--logbook", str(log)]) == 0
    link = tmp_path / "link.csv"
    link.symlink_to(log)
    for arguments in (
        ["analyse", str(csv), "--json", str(csv)],
        ["logbook", "--logbook", str(log), "export", "1", "--csv", str(log)],
        ["logbook", "--logbook", str(log), "export", "1", "--csv", str(link)],
        ["budget", "1", "--logbook", str(log), "--json", str(log)],
        ["measure", str(recipe), "--scenario", "shunt", "--logbook", str(log), "--json", str(recipe)],
        ["measure", str(recipe), "--scenario", "shunt", "--logbook", str(log), "--stream", str(log)],
        ["measure", str(recipe), "--scenario", "shunt", "--logbook", str(log), "--transcript", str(log)],
        ["measure", str(recipe), "--scenario", "shunt", "--logbook", str(log), "--transcript", str(recipe)],
    ):
        before = csv.read_text(), recipe.read_text()
        assert main(arguments) == 2, arguments
        assert "it would be lost" in capsys.readouterr().err
        assert (csv.read_text(), recipe.read_text()) == before
    assert len(list_runs(log)) == 1
    good = tmp_path / "good.csv"
    good.write_text(_CSV)
    assert main(["logbook", "--logbook", str(log), "export", "99", "--csv", str(good)]) == 2
    assert good.read_text() == _CSV
