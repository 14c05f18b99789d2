"""The dry-circuit preset against ASTM B539, method C, and the arithmetic of its limits."""

import pytest

from benchapp.bench.limits import HouseLimits, LimitExceeded
from benchapp.recipe import Recipe, build_recipe
from benchapp.recipe_values import Entry
from tests.published.references import reference


def recipe(**values: str) -> Recipe:
    return build_recipe({key: Entry(value, key) for key, value in {"limits": "dry-circuit", **values}.items()})


def test_the_limits_of_the_standard() -> None:
    expected = reference("astm-b539-dry-circuit")["expected"]
    V, I = expected["V_open_max_V"], expected["I_short_max_A"]
    HouseLimits().check(recipe(current=f"{I} A", compliance=f"{V} V"))
    with pytest.raises(LimitExceeded, match="dry-circuit"):
        HouseLimits().check(recipe(current=f"{I * 1.001} A", compliance=f"{V} V"))
    with pytest.raises(LimitExceeded, match="compliance"):
        HouseLimits().check(recipe(current=f"{I} A", compliance=f"{V * 1.001} V"))


def test_the_default_compliance_is_too_much_for_it() -> None:
    with pytest.raises(LimitExceeded):
        HouseLimits().check(recipe(current="10 mA"))
