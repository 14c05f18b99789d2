import pytest

from benchapp.plan.cautions import cautions
from benchapp.plan.prediction import predict
from benchapp.recipe import Recipe, StopRule


def test_voltage_power_rise_and_times() -> None:
    recipe = Recipe(2.0, signs="+-", nominal_ohm=1e-3, nplc=5, settle_s=0.1, stop=StopRule(10))
    prediction = predict(recipe, thermal_resistance_K_per_W=50.0)
    assert prediction.voltage_V == pytest.approx(2e-3)
    assert prediction.power_W == pytest.approx(4e-3)
    assert prediction.temperature_rise_K == pytest.approx(0.2)
    # Three readings of 0.1 s, each after 0.1 s of settling.
    assert prediction.block_s == pytest.approx(0.6)
    assert prediction.run_s == pytest.approx(6.0)


def test_settling_only_where_the_current_changes() -> None:
    block = predict(Recipe(1.0, signs="+--+", settle_s=0.1)).block
    assert [stretch.level_A for stretch in block] == [1, -1, -1, 1]
    assert [stretch.settled_s > stretch.start_s for stretch in block] == [True, True, False, True]


def test_what_is_not_known_is_none() -> None:
    prediction = predict(Recipe(1.0, stop=StopRule(None)))
    assert (prediction.voltage_V, prediction.power_W, prediction.run_s) == (None, None, None)
    assert predict(Recipe(1.0, stop=StopRule(None, duration_s=9.0))).run_s == 9.0


@pytest.mark.parametrize(
    ("recipe", "titles"),
    [
        (Recipe(0.1, nominal_ohm=1e-2), []),
        (Recipe(10.0, nominal_ohm=1e-2), ["High current", "Hot part"]),
        (Recipe(0.01, nominal_ohm=1e-5), ["Small voltage, long run"]),
        (Recipe(0.1, compliance_V=100.0), ["Dangerous to touch"]),
    ],
)
def test_cautions_where_the_numbers_call_for_them(recipe: Recipe, titles: list[str]) -> None:
    assert [caution.title for caution in cautions(recipe, predict(recipe))] == titles
