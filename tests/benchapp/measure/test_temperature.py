"""A temperature that moves: read through the run, recorded, and each reading brought to the reference by itself."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchapp.analysis.temperature import current_at_reference, lagging, out_of_step_K
from benchapp.cli.main import main
from benchapp.errors import InputError
from benchapp.events import EndReason
from benchapp.logbook.query import load_run
from benchapp.recipe import Recipe, build_recipe, entries_from_text, recipe_to_toml
from benchapp.recipe_values import Entry
from benchapp.result.budget import BudgetPlan, TemperatureCorrection, whole_uncertainty
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

CABLE = load_scenario("warming_cable")
TRUE_20 = CABLE.specimen.resistance_ohm * (1 + CABLE.specimen.temperature_coefficient_per_K * (20 - 23))


@pytest.mark.parametrize("lag_s", [0.5, 5.0, 60.0])
def test_the_lag_is_that_of_first_order(lag_s: float) -> None:
    """Against a general solver of differential equations: tau dT/dt = air - T."""
    told_s = np.cumsum(np.random.default_rng(1).uniform(0.5, 2.0, 40)) - 1.0
    told_C = 20 + np.cumsum(np.random.default_rng(2).normal(0, 0.3, 40))
    at_s = np.linspace(told_s[0], told_s[-1], 60)
    solved = solve_ivp(
        lambda t, T: (np.interp(t, told_s, told_C) - T) / lag_s,
        (told_s[0], told_s[-1]), [told_C[0]], t_eval=at_s, rtol=1e-9, atol=1e-9, max_step=0.05,
    )  # fmt: skip
    assert lagging(told_s, told_C, lag_s, at_s) == pytest.approx(solved.y[0], abs=2e-4)


def test_before_the_first_and_after_the_last_it_stands() -> None:
    told_s, told_C = np.array([1.0, 2.0]), np.array([20.0, 21.0])
    assert lagging(told_s, told_C, 0.0, np.array([0.0, 1.5, 9.0])).tolist() == [20.0, 20.5, 21.0]
    late = lagging(told_s, told_C, 0.5, np.array([0.0, 1e3]))
    assert late == pytest.approx([20.0, 21.0])
    assert np.isnan(lagging(np.empty(0), np.empty(0), 1.0, np.array([0.0]))).all()
    assert lagging(told_s[:1], told_C[:1], 5.0, np.array([7.0])).tolist() == [20.0]


def test_the_emf_stays_what_it_is() -> None:
    """V = R20 (1 + alpha (T - 20)) I + E, solved for R20 beside E."""
    t, I = np.arange(40.0), np.resize([2.0, -2.0], 40)
    T = 20 + 0.1 * t
    V = 1e-3 * (1 + 0.00393 * (T - 20)) * I + 3e-6
    current = current_at_reference(t, I, t, T, reference_C=20.0, alpha_per_K=0.00393, lag_s=0.0)
    R, E = np.linalg.lstsq(np.column_stack([current, np.ones(40)]), V, rcond=None)[0]
    assert (pytest.approx(1e-3, rel=1e-12), pytest.approx(3e-6, rel=1e-9)) == (R, E)


def test_a_ramp_is_no_drift_any_more() -> None:
    rehearsal = Rehearsal(CABLE)
    end = rehearsal.run(recipe_of(CABLE))
    assert (end.reason, end.output_off) == (EndReason.RULE, True)
    stated = rehearsal.statement()
    assert abs(stated.resistance_ohm - TRUE_20) < 0.1 * stated.expanded_uncertainty_ohm
    assert abs(stated.estimate.resistance_ohm / TRUE_20 - 1) < 5e-5
    assert str(stated.validity) == "valid"
    told = rehearsal.temperatures
    assert told.shape[1] >= 230  # once a second over 250 s
    assert told[1, -1] - told[1, 0] == pytest.approx(0.02 * (told[0, -1] - told[0, 0]), abs=0.02)
    assert stated.conditions.temperature_C == pytest.approx(told[1].mean())
    # The blocks of the run itself are at the reference, too.
    blocks = [block.resistance_ohm for batch in rehearsal.batches for block in batch.blocks]
    assert np.array(blocks[40:]) == pytest.approx(TRUE_20, rel=3e-5)


def test_without_it_the_drift_is_told() -> None:
    rehearsal = Rehearsal(CABLE)
    rehearsal.run(recipe_of(CABLE, temperature_lag_s=None, reference_C=None, alpha_per_K=None))
    stated = rehearsal.statement()
    assert str(stated.validity) != "valid"
    assert rehearsal.temperatures.shape[1] == 0


def test_a_wrong_lag_is_seen_in_the_value_and_bounded_in_the_budget() -> None:
    rehearsal = Rehearsal(replace(CABLE, specimen=replace(CABLE.specimen, air_lag_s=40.0)))
    rehearsal.run(recipe_of(CABLE, temperature_lag_s=40.0))
    budget = rehearsal.statement().budget
    assert budget is not None
    rows = {row.name: row for row in budget.contributions}
    assert rows["specimen out of step"].contribution > 0
    assert out_of_step_K(np.arange(250.0), 20 + 0.02 * np.arange(250.0), 40.0) == pytest.approx(
        0.02 * 40 * 40 / 249 * -math.expm1(-249 / 40), rel=1e-6
    )
    assert out_of_step_K(np.arange(250.0), np.full(250, 20.0), 40.0) == pytest.approx(0.0, abs=1e-12)
    assert out_of_step_K(np.arange(2.0), np.arange(2.0), 40.0) == 0.0


def test_the_value_is_corrected_once_and_its_uncertainty_is_that_of_one_correction() -> None:
    at_once = TemperatureCorrection(25.0, 20.0, 0.00393, 0.2, 1e-5)
    through = replace(at_once, through_run=True)
    R25 = 1e-3
    R20 = R25 / (1 + 0.00393 * 5)
    one = whole_uncertainty(R25, 1e-9, 50.0, 1.0, BudgetPlan(temperature=at_once))
    other = whole_uncertainty(R20, 1e-9 * R20 / R25, 50.0, 1.0, BudgetPlan(temperature=through))
    assert other.resistance_ohm == pytest.approx(one.resistance_ohm, rel=1e-12)
    assert other.budget.standard_uncertainty == pytest.approx(one.budget.standard_uncertainty, rel=1e-9)


def test_a_thermometer_that_falls_silent_or_breaks_ends_the_run() -> None:
    rehearsal = Rehearsal(CABLE)
    assert rehearsal.sim.thermometer is not None
    rehearsal.sim.thermometer._temperature_C = lambda: 9.9e37
    end = rehearsal.run(recipe_of(CABLE))
    assert (end.reason, end.output_off) == (EndReason.INSTRUMENT, True)
    assert "degC lies outside" in end.text
    none = Rehearsal(replace(CABLE, thermometer=replace(CABLE.thermometer, there=0.0)))
    end = none.run(recipe_of(CABLE))
    assert end.reason is EndReason.INSTRUMENT
    assert "no thermometer is named" in end.text
    assert not any(message == ":OUTP ON" for _, _, message in none.sent)


def test_all_three_belong_together() -> None:
    recipe = Recipe(1.0, temperature_lag_s=30.0, reference_C=-5.0, alpha_per_K=0.00393)
    assert build_recipe(entries_from_text(recipe_to_toml(recipe), "recipe")) == recipe
    with pytest.raises(InputError, match="Write reference_temperature, temperature_coefficient beside it"):
        build_recipe({key: Entry(text, key) for key, text in {"current": "1 A", "temperature_lag": "3 s"}.items()})
    with pytest.raises(InputError, match="no temperature coefficient"):
        build_recipe({"current": Entry("1 A", "current"), "temperature_coefficient": Entry("3", "c")})


def test_from_the_command_line_to_the_record_and_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    path = tmp_path / "log.sqlite"
    options = ["--scenario", "warming_cable", "--speed", "60", "--duration", "60 s", "--logbook", str(path)]
    assert main(["measure", *options, "--temperature-uncertainty", "0.05 K", "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert abs(found["resistance_ohm"] / TRUE_20 - 1) < 4e-4
    record = load_run(path, 1)
    assert len(record.temperatures) >= 20
    assert main(["logbook", "--logbook", str(path), "check"]) == 0
    assert "as it was written" in capsys.readouterr().out


def test_the_voltmeters_second_input_tells_it_too() -> None:
    inside = replace(CABLE, thermometer=replace(CABLE.thermometer, there=2.0))
    rehearsal = Rehearsal(inside)
    end = rehearsal.run(recipe_of(inside))
    assert (end.reason, end.output_off) == (EndReason.RULE, True)
    assert {role for role, _, message in rehearsal.sent if "(@2)" in message} == {"voltmeter"}
    stated = rehearsal.statement()
    assert abs(stated.resistance_ohm - TRUE_20) < 0.1 * stated.expanded_uncertainty_ohm
    assert str(stated.validity) == "valid"
    assert rehearsal.temperatures.shape[1] >= 200
