"""A bench made from a recorded run: measured again it gives about what the run gave."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchapp.cli.main import main
from benchapp.errors import InputError
from benchapp.plan.learnt import learn
from benchapp.plan.rehearsal import bench_text
from benchapp.recipe import Recipe, StopRule
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of


def rehearsed(scenario: Scenario, recipe: Recipe, folder: Path, seed: int = 3) -> tuple[Rehearsal, Scenario]:
    run = Rehearsal(scenario, seed)
    run.run(recipe)
    t, I, V = np.array([reading[1:] for reading in run.readings]).T
    path = folder / "bench.toml"
    path.write_text(bench_text(learn(recipe, t, I, V, "run 3"), recipe, 'the bench of "run 3"'), "utf-8")
    return run, load_scenario(str(path))


@pytest.mark.parametrize("name", ["shunt", "crimp_contact"])
def test_the_next_run_is_about_as_good(name: str, tmp_path: Path) -> None:
    scenario = load_scenario(name)
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=30.0))
    run, made = rehearsed(scenario, recipe, tmp_path)
    again = Rehearsal(made, 8)
    again.run(recipe_of(made))
    assert again.estimate.resistance_ohm == pytest.approx(run.estimate.resistance_ohm, rel=1e-4)
    assert again.estimate.repeatability_95_ohm == pytest.approx(run.estimate.repeatability_95_ohm, rel=0.5)
    assert len(again.readings) == pytest.approx(len(run.readings), rel=0.1)


@pytest.mark.parametrize("examine", [False, True])
def test_settling_is_taken_along(examine: bool, tmp_path: Path) -> None:
    shunt = load_scenario("shunt")
    slow = replace(shunt, wiring=replace(shunt.wiring, absorption=0.01, absorption_time_constant_s=0.05))
    recipe = recipe_of(slow, signs="++++++++--------", examine=examine, stop=StopRule(None, duration_s=30.0))
    _, made = rehearsed(slow, recipe, tmp_path)
    assert made.wiring.absorption_time_constant_s == pytest.approx(0.05, rel=0.1)
    assert made.wiring.absorption == pytest.approx(0.01, rel=0.2)


def test_too_few_readings_tell_no_noise(tmp_path: Path) -> None:
    scenario = load_scenario("shunt")
    with pytest.raises(InputError, match="do not tell the noise"):
        rehearsed(scenario, recipe_of(scenario, stop=StopRule(4)), tmp_path)


def test_by_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    assert main(["measure", "--scenario", "shunt", "--speed", "40", "--blocks", "60"]) == 0
    bench = str(tmp_path / "mine.toml")
    assert main(["simulate", "--from-run", "1", "--out", bench]) == 0
    assert main(["measure", "--scenario", bench, "--speed", "40", "--duration", "3 s"]) == 0
    assert main(["plan", "--nominal", "250 uohm", "--target", "0.1 %", "--from-run", "1"]) == 0
    assert "a run of" in capsys.readouterr().out
    assert main(["simulate", "--from-run", "7", "--out", bench]) == 2
