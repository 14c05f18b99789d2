"""Which runs a search of the logbook finds."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchapp.cli.main import main
from benchapp.errors import InputError
from benchapp.logbook.query import DAMAGED, RunSummary
from benchapp.logbook.search import Search, flags_of, verdict_of


def _run(number: int, name: str, started: str, **stated: object) -> RunSummary:
    body = {"validity": "valid", "verdict": None, "flags": [], **stated}
    return RunSummary(
        number, started, started, "completed", "30 blocks taken", "0", f'name = "{name}"\nserial = "S-{number}"',
        {"source": "TCPIP::10.0.0.5::5025::SOCKET", "operator": "A. Person" if number % 2 else "B. Person"}, 90, True,
        (body,),
    )  # fmt: skip


_RUNS = [
    _run(1, "Shunt S-17", "2026-03-01T10:00:00+00:00", verdict="pass"),
    _run(2, "Joint J-4", "2026-03-02T10:00:00+00:00", verdict="fail", flags=[{"code": "time-gap"}]),
    _run(3, "Joint J-5", "2026-03-03T10:00:00+00:00", validity="doubtful", verdict="pass", flags=[{"code": "step"}]),
    _run(4, "Cable", "2026-03-04T10:00:00+00:00", validity="not-valid"),
    _run(5, "Cable", "2026-03-05T10:00:00+00:00"),
]


@pytest.mark.parametrize(
    ("search", "found"),
    [
        (Search(), [1, 2, 3, 4, 5]),
        (Search(specimen="joint"), [2, 3]),
        (Search(name="Joint J-4"), [2]),
        (Search(name="Joint"), []),
        (Search(specimen="joint", verdict="fail"), [2]),
        (Search(serial="S-3"), [3]),
        (Search(operator="b. p"), [2, 4]),
        (Search(verdict="pass"), [1]),
        (Search(verdict="doubtful"), [3]),
        (Search(verdict="not-valid"), [4]),
        (Search(verdict="none"), [5]),
        (Search(flag="step"), [3]),
        (Search(since="2026-03-03"), [3, 4, 5]),
        (Search(since="2026-03-02", until="2026-03-03"), [2, 3]),
        (Search(words=("10.0.0.5", "cable")), [4, 5]),
        (Search(words=("nowhere",)), []),
    ],
)
def test_it_finds_what_is_asked(search: Search, found: list[int]) -> None:
    assert [run.run_id for run in _RUNS if search.lets(run)] == found


def test_a_damaged_run_is_never_left_out() -> None:
    damaged = replace(_RUNS[0], status=DAMAGED, damage=("a row is missing",), statements=(), recipe_toml="")
    assert Search(specimen="something else", since="2030-01-01").lets(damaged)


def test_of_several_parts_the_worst_counts_and_the_standard_does_not() -> None:
    parts = ({"validity": "valid", "verdict": "fail", "part": "S", "is_standard": True},
             {"validity": "valid", "verdict": "pass", "part": "A"},
             {"validity": "valid", "verdict": "undecided", "part": "B", "flags": "odd"})  # fmt: skip
    run = replace(_RUNS[0], statements=parts)
    assert verdict_of(run) == "undecided"
    assert flags_of(run) == set()


@pytest.mark.parametrize("wrong", [{"since": "yesterday"}, {"until": "2026-02-30"}, {"verdict": "good"}])
def test_what_can_never_be_found_is_told(wrong: dict[str, str]) -> None:
    with pytest.raises(InputError, match=f"--{next(iter(wrong))}"):
        Search(**wrong)  # type: ignore[arg-type]


def test_by_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from benchapp.api import measure

    book = tmp_path / "log.sqlite"
    for name in ("Shunt A", "Shunt B"):
        recipe = {"current": "5 A", "nominal": "250 uohm", "range": "10 mV", "high": "251 uohm", "name": name}
        measure(recipe, scenario="shunt", logbook=book, speed=100.0)
    capsys.readouterr()
    assert main(["logbook", "--logbook", str(book), "list", "--verdict", "pass", "--specimen", "shunt b"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 1
    assert "Shunt B" in lines[0]
    assert main(["logbook", "--logbook", str(book), "list", "--since", "soon"]) == 2
    assert "--since" in capsys.readouterr().err
