"""Each shipped bench shows what its lesson says."""

import pytest

from benchapp.events import EndReason
from sim.scenario import load_scenario, scenario_names
from tests.benchapp.simulated import Rehearsal, recipe_of

_WRONG = {"warning", "stop"}


def test_there_are_at_least_sixteen_lessons() -> None:
    assert len(scenario_names()) >= 16
    for name in scenario_names():
        assert len(load_scenario(name).lesson) > 20, name


@pytest.mark.parametrize("name", scenario_names())
def test_the_bench_shows_it(name: str) -> None:
    scenario = load_scenario(name)
    rehearsal = Rehearsal(scenario, scenario.seed)
    end = rehearsal.run(recipe_of(scenario))
    assert end.output_off
    if scenario.expect == ("instrument",):
        assert end.reason is EndReason.INSTRUMENT
        return
    found = rehearsal.estimate
    # Where a thermometer corrects the readings, its noise is no fault of theirs; parts have readings of their own.
    beside = rehearsal.recipe.corrects_temperature or rehearsal.recipe.channels
    flags = rehearsal.statement().flags if beside else found.flags
    codes = {flag.code for flag in flags if flag.severity in _WRONG}
    if end.reason is EndReason.INSTRUMENT:
        codes.add("instrument")
    print(name, end.reason, end.text, codes, found.resistance_ohm, found.repeatability_95_ohm, rehearsal.truth)
    if scenario.expect:
        assert codes & set(scenario.expect)
    else:
        assert not codes
