"""Studies: each kind on a bench with something to find, kept in the logbook, resumed and applied."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchapp.cli.main import main
from benchapp.recipe import StopRule, build_recipe, entries_from_toml
from benchapp.study.conclusion import Conclusion, Figure, StudyRun
from benchapp.study.kinds import KINDS
from benchapp.study.recorded import key_of, studies
from benchapp.study.settling import DWELL, settling
from benchapp.study.stability import slope_beside_walk
from benchapp.study.temperature import lagged
from sim.scenario import Scenario, load_scenario
from tests.benchapp.simulated import recipe_of
from tests.statistics.studies import studied


def concluded(kind: str, scenario: Scenario, repeats: int = 1, duration_s: float = 6.0) -> Conclusion:
    recipe = recipe_of(scenario, stop=StopRule(None, duration_s=duration_s))
    runs, blocks = [], []
    for number, step in enumerate(KINDS[kind].steps(recipe, repeats)):
        run, found = studied(scenario, step.recipe, 100 + number, 10.0 * number)
        runs.append(run)
        blocks.append(found)
    return KINDS[kind].conclude(runs, blocks)


def test_a_film_is_found_by_power_and_linearity_alike() -> None:
    film = load_scenario("filmed_contact")
    rise = film.specimen.cubic_ohm_per_A2 * recipe_of(film).current_A ** 2
    for kind in ("power", "linearity"):
        found = concluded(kind, film)
        one = found.figure("rise to the largest current")
        assert one.low <= rise <= one.high
        assert one.is_seen
        assert found.figure("R at zero power").low <= film.specimen.resistance_ohm * (1 + 1e-9)
        assert "rises" in found.text
    assert concluded("power", film).changes["current"].endswith("A")


def test_nothing_is_found_where_nothing_is() -> None:
    shunt = load_scenario("shunt")
    cold = replace(shunt, specimen=replace(shunt.specimen, thermal_resistance_K_per_W=0.0))
    found = concluded("power", cold, 2)
    assert not found.figure("rise to the largest current").is_seen
    assert "would have been" in found.text
    assert found.changes == {}


def test_settling_that_dwells_do_not_show_is_not_told() -> None:
    shunt = load_scenario("shunt")
    still = replace(shunt.wiring, settling_time_constant_s=0.0, absorption=0.01, absorption_time_constant_s=0.5)
    slow = replace(shunt, wiring=still)
    found = concluded("settling", slow, duration_s=30.0)
    assert not found.tells
    assert "cannot be told" in found.text
    good = replace(shunt, wiring=replace(still, absorption_time_constant_s=0.03))
    found = concluded("settling", good, duration_s=30.0)
    assert found.figure("time constant").low <= 0.03 <= found.figure("time constant").high
    assert float(found.changes["settle"].split()[0]) > 0.1


def test_two_processes_are_not_one_time_constant() -> None:
    shunt = load_scenario("shunt")
    wiring = replace(shunt.wiring, settling_time_constant_s=0.012, absorption=0.01, absorption_time_constant_s=0.15)
    both = replace(shunt, wiring=wiring)
    recipe = recipe_of(both, signs="+" * DWELL + "-" * DWELL, settle_s=0.0, stop=StopRule(None, duration_s=60.0))
    found = settling([studied(both, recipe, 2)[0]])
    assert not found.tells


def test_the_slope_beside_white_noise_is_least_squares() -> None:
    rng = np.random.default_rng(1)
    t = np.arange(60.0)
    R = 1.0 + 1e-3 * t + 1e-6 * rng.standard_normal(60)
    mean, slope, u = slope_beside_walk(t, R)
    by_numpy, covariance = np.polyfit(t, R, 1, cov="unscaled")
    assert slope == pytest.approx(by_numpy[0], rel=1e-6)
    assert mean == pytest.approx(R.mean(), rel=1e-6)
    # Wider by what a walk could have done that sixty values do not rule out.
    assert 0.9 < u / (np.sqrt(covariance[0, 0]) * 1e-6) < 2.0


def test_a_lag_of_a_ramp_is_behind_by_the_lag() -> None:
    t = np.linspace(0.0, 100.0, 300)
    assert lagged(t, 0.1 * t, 5.0)[-1] == pytest.approx(0.1 * 95.0, rel=1e-6)
    assert lagged(t, np.ones(300), 5.0) == pytest.approx(np.ones(300))


def test_too_few_connections_tell_nothing() -> None:
    shunt = load_scenario("shunt")
    run = studied(shunt, recipe_of(shunt, stop=StopRule(10)), 1)[0]
    runs: list[StudyRun] = [run] * 4
    assert not KINDS["reconnection"].conclude(runs, []).tells


def test_a_run_without_an_interval_tells_nothing() -> None:
    nan = float("nan")
    assert not Figure("rise", nan, nan, nan, "ohm").is_seen
    assert Figure("rise", 1.0, 0.5, 1.5, "ohm").is_seen
    assert not Figure("rise", 1.0, -0.5, 1.5, "ohm").is_seen


def test_a_record_says_of_which_study_it_is() -> None:
    assert key_of(7, "power 0 0 8 2") == key_of(7, "power 7 0 8 2")
    for wrong in ("", None, "power", "dance 0 0 1 1", "power x 0 8 2"):
        assert key_of(7, wrong) is None


def test_by_command_line_resumed_and_applied(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("BENCHAPP_DATA", str(tmp_path / "data"))
    options = ["--scenario", "filmed_contact", "--speed", "40", "--duration", "2 s"]
    # Broken off at the second run: the house limit is lowered meanwhile.
    limited = {"count": 0}
    from benchapp.cli import study as command

    measured = command._one

    def one(*arguments: object) -> int | None:
        limited["count"] += 1
        return None if limited["count"] == 3 else measured(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(command, "_one", one)
    assert main(["study", "power", *options, "--repeats", "1"]) == 4
    assert "--resume 1" in capsys.readouterr().err
    assert main(["study", "show", "--study", "1"]) == 2
    assert "2 of 4 runs" in capsys.readouterr().err
    out = tmp_path / "applied.toml"
    assert main(["study", "power", *options, "--resume", "1", "--json", "-", "--apply", str(out)]) == 0
    printed = capsys.readouterr().out
    told = json.loads(printed.splitlines()[0])
    assert told["kind"] == "power"
    assert told["figures"][1]["low"] > 0
    assert build_recipe(entries_from_toml(out)).current_A < 0.1
    assert "->" in printed
    [study] = studies(tmp_path / "data" / "logbook.sqlite")
    assert study.whole
    assert main(["study", "list"]) == 0
    assert "power" in capsys.readouterr().out
    assert main(["study", "settling", *options, "--resume", "1"]) == 2
