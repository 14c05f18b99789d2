from pathlib import Path

import pytest

from benchapp.bench.limits import HouseLimits, LimitExceeded, load_limits
from benchapp.errors import InputError
from benchapp.recipe import Recipe, StopRule, build_recipe, entries_from_toml, recipe_to_toml
from benchapp.recipe_values import Entry


def entries(**values: object) -> dict[str, Entry]:
    return {key: Entry(value, f"--{key}") for key, value in values.items()}


def test_defaults_are_thirty_blocks_of_two_readings_a_sign() -> None:
    recipe = build_recipe(entries(current="100 mA"))
    assert recipe == Recipe(current_A=0.1)
    assert (recipe.stop, recipe.signs, recipe.aperture_s) == (StopRule(30), "++--", 0.02)


def test_a_stop_option_replaces_the_default() -> None:
    assert build_recipe(entries(current="1 A", until="0.2 uohm")).stop == StopRule(None, None, 2e-7)
    assert build_recipe(entries(current="1 A", duration="60 s")).stop == StopRule(None, 60.0, None)
    assert build_recipe(entries(current="1 A", endless=True)).stop == StopRule(None)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({}, "current: missing. Nothing is switched on unasked"),
        ({"current": "0.1"}, r'--current: this current has no unit \(got .0.1.\). Write "0.1 A"'),
        ({"current": 0.1}, r"--current: a quantity needs its unit \(got .0.1.\)"),
        ({"current": "-1 A"}, "--current: out of range"),
        ({"current": "0 A"}, "--current: out of range"),
        ({"current": "1 V"}, "--current: 'V' is no unit of current"),
        ({"compliance": "x"}, "--compliance: this is no voltage"),
        ({"nplc": "many"}, "--nplc: no usable number"),
        ({"nplc": True}, "--nplc: no usable number"),
        ({"signs": "+x"}, "--signs: no sequence of signs"),
        ({"signs": "++"}, "--signs: the current is never changed"),
        ({"emf_order": 3}, "--emf_order: no usable number"),
        ({"emf_order": 1.5}, "--emf_order: no whole number"),
        ({"blocks": 0}, "--blocks: no usable number"),
        ({"blocks": 3, "duration": "1 s"}, "--duration: stands beside blocks"),
        ({"low": "2 mohm", "high": "1 mohm"}, "--low: is not below the upper limit"),
        ({"line_frequency": "5 Hz"}, "--line_frequency: out of range"),
        ({"settle": "2 h"}, "--settle: out of range"),
        ({"nam": "x"}, "--nam: unknown"),
        ({"name": 3}, "--name: no text"),
        ({"endless": False}, "--endless: can only be true"),
    ],
)
def test_faults_name_field_value_and_remedy(values: dict[str, object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        build_recipe(entries(**({"current": "1 A"} | values if values else {})))


def test_all_faults_come_at_once() -> None:
    with pytest.raises(InputError) as caught:
        build_recipe(entries(current="1", nplc="x", signs="+"))
    assert len(caught.value.faults) == 3


def test_zero_settling_needs_no_unit() -> None:
    assert build_recipe(entries(current="1 A", settle=0)).settle_s == 0
    assert build_recipe(entries(current="1 A", settle="0")).settle_s == 0


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe(0.1),
        Recipe(0.1, stop=StopRule(None), name='A "quoted" name\\', serial="7", nominal_ohm=1e-3 / 3, settle_s=0.0),
        Recipe(1.0, 2.0, 0.01, 0.1, 60.0, 0.5, "+--+", 2, StopRule(None, 12.5), low_ohm=-1.0, high_ohm=2.0),
        Recipe(1.0, stop=StopRule(None, None, 1e-9)),
    ],
)
def test_a_recipe_survives_its_file(recipe: Recipe, tmp_path: Path) -> None:
    path = tmp_path / "recipe.toml"
    path.write_text(recipe_to_toml(recipe), "utf-8")
    assert build_recipe(entries_from_toml(path)) == recipe


def test_a_recipe_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        entries_from_toml(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("current = ")
    with pytest.raises(InputError, match="no TOML"):
        entries_from_toml(tmp_path / "bad.toml")


def test_limits_are_ten_ampere_twenty_volt_five_watt_unless_the_user_s_file_says_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHAPP_CONFIG", str(tmp_path))
    assert load_limits() == HouseLimits(10.0, 20.0, 5.0)
    with pytest.raises(LimitExceeded, match=r"current: 10\.10 A exceeds the house limit of 10\.00 A"):
        load_limits().check(Recipe(10.1))
    with pytest.raises(LimitExceeded, match="compliance"):
        load_limits().check(Recipe(1.0, compliance_V=21.0))
    with pytest.raises(LimitExceeded, match="power"):
        load_limits().check(Recipe(1.0, nominal_ohm=6.0))
    (tmp_path / "limits.toml").write_text('current = "50 A"\n')
    load_limits().check(Recipe(10.1))
    (tmp_path / "limits.toml").write_text('current = "50"\nvoltage = "1 V"\n')
    with pytest.raises(InputError) as caught:
        load_limits()
    assert len(caught.value.faults) == 2
    assert "limits.toml" in str(caught.value)
