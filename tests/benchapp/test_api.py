"""The library: the guide's examples run as they stand, arrays are those of the record, and a script can measure."""

import re
from pathlib import Path

import numpy as np
import pytest

from benchapp.api import BenchError, Logbook, measure
from benchapp.logbook.query import load_run
from benchapp.ui.guide.chapters import guide_folder

_RECIPE = {"current": "5 A", "nominal": "250 uohm", "blocks": 60, "range": "10 mV"}


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with one run."""
    path = tmp_path_factory.mktemp("api") / "log.sqlite"
    measure(_RECIPE, scenario="shunt", logbook=path, speed=100.0)
    return path


def test_a_run_is_measured_and_read_back(book: Path) -> None:
    runs = Logbook(book)
    assert len(runs) == 1
    run = runs[1]
    assert run.validity in ("valid", "doubtful")
    assert run.value_ohm == pytest.approx(250.04e-6, rel=1e-4)
    columns = load_run(book, 1).readings
    assert run.time_s.tolist() == list(columns.time_s)
    assert run.current_A.tolist() == list(columns.current_A)
    assert run.voltage_V.tolist() == list(columns.voltage_V)
    assert set(run.columns) == {"time_s", "current_A", "voltage_V"}
    assert all(array.shape == run.time_s.shape and array.dtype == np.float64 for array in run.columns.values())
    assert run.blocks["resistance_ohm"].mean() == pytest.approx(run.value_ohm, rel=1e-5)
    run.voltage_V[:] = 0.0  # what one has is one's own
    assert run.voltage_V.any()
    assert run.to_dict()["resistance_ohm"] == run.value_ohm
    assert "µΩ" in repr(run)


def test_it_is_stated_anew_and_nothing_is_written(book: Path) -> None:
    before = book.read_bytes()
    run = Logbook(book).run(1)
    wide = run.restate(confidence=0.99)
    assert wide.U_ohm > run.U_ohm
    bent = run.restate(emf_order=2, estimator="blocks")
    assert bent.value_ohm == pytest.approx(run.value_ohm, abs=3 * run.U_ohm)
    assert bent.to_dict()["resistance_ohm"] == bent.value_ohm
    assert book.read_bytes() == before
    for wrong in ({"emf_order": 7}, {"estimator": "guess"}, {"confidence": 2.0}):
        with pytest.raises(BenchError, match=next(iter(wrong))):
            run.restate(**wrong)


@pytest.mark.parametrize(
    ("recipe", "bench", "told"),
    [
        (_RECIPE, {}, "no bench"),
        (_RECIPE, {"scenario": "shunt", "source": "x", "voltmeter": "y"}, "no bench, or two"),
        ({"current": "5"}, {"scenario": "shunt"}, "current"),
        ({"curent": "5 A"}, {"scenario": "shunt"}, "curent"),
        ({"current": "50 A"}, {"scenario": "shunt"}, "house limit"),
        ("no such file.toml", {"scenario": "shunt"}, "no such file"),
    ],
)
def test_what_cannot_be_measured_is_told(recipe: object, bench: dict[str, str], told: str, tmp_path: Path) -> None:
    with pytest.raises(BenchError, match=told):
        measure(recipe, logbook=tmp_path / "log.sqlite", **bench)  # type: ignore[arg-type]


def test_the_examples_of_the_guide_run(book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "log.sqlite").write_bytes(book.read_bytes())
    monkeypatch.chdir(tmp_path)
    text = (guide_folder() / "13-scripts.md").read_text("utf-8")
    code = "\n".join(line[4:] for line in re.findall(r"^(?: {4}.*|)$", text, re.MULTILINE))
    assert code.count("benchapp.api") == 2
    names: dict[str, object] = {}
    exec(compile(code.replace('logbook="log.sqlite",', 'logbook="log.sqlite", speed=100.0,'), "guide", "exec"), names)
    assert len(Logbook("log.sqlite")) == 2
