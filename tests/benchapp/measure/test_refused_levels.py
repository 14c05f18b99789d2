"""A source that refuses its levels, one that takes less than it is sent: no plain verdict, whatever its answers."""

import re
from dataclasses import replace
from typing import Any

import pytest

from benchapp.events import EndReason, EventKind
from benchapp.result.validity import Validity
from sim.scenario import load_scenario
from tests.benchapp.simulated import Rehearsal, recipe_of

_LEVEL = re.compile(r":?(?:SOUR:)?CURR [-+0-9.E]+;?", re.IGNORECASE)


class Refusing:
    """Between wire and source: levels other than 0 do not arrive; what reads back is what was asked, where `lies`."""

    def __init__(self, device: Any, *, lies: bool) -> None:
        self._device, self._lies = device, lies
        self._errors = 0
        self._asked = "0"

    def __getattr__(self, name: str) -> Any:
        return getattr(self._device, name)

    def process(self, message: str) -> str | None:
        found = _LEVEL.search(message)
        if found and float(found[0].split()[1].rstrip(";")) != 0:
            self._asked = found[0].split()[1].rstrip(";")
            self._errors += 1
            message = _LEVEL.sub("", message, count=1)
        if self._errors and "SYST:ERR?" in message.upper():
            self._errors -= 1
            return '-222,"Data out of range"'
        if self._lies and re.fullmatch(r":?(?:SOUR:)?CURR\?", message, re.IGNORECASE):
            return self._asked
        return self._device.process(message) if message else None


def _run(*, lies: bool, blocks: int = 60) -> Rehearsal:
    scenario = load_scenario("shunt")
    rehearsal = Rehearsal(scenario)
    rehearsal.sim.source_faults = Refusing(rehearsal.sim.source_faults, lies=lies)  # type: ignore[assignment]
    from benchapp.recipe import StopRule

    rehearsal.run(recipe_of(scenario, stop=StopRule(blocks), high_ohm=1.0, low_ohm=-1.0))
    return rehearsal


@pytest.mark.parametrize("lies", [False, True])
def test_a_source_that_refuses_every_level_gets_no_verdict(lies: bool) -> None:
    rehearsal = _run(lies=lies)
    stated = rehearsal.statement()
    assert stated.validity is Validity.NOT_VALID
    assert stated.verdict is None
    assert stated.decision is None
    codes = {reason.code for reason in stated.reasons}
    if lies:
        # It says that the level is there; its error queue says otherwise.
        assert "level-refused" in codes
        assert "-222" in next(reason.text for reason in stated.reasons if reason.code == "level-refused")
        assert any(event.kind is EventKind.COMPLAINT for event in rehearsal.events)
    else:
        assert "broken-off" in codes
        end = rehearsal.last.end
        assert end is not None
        assert end.reason is EndReason.INSTRUMENT
        assert "reads back" in end.text


def test_a_run_shorter_than_a_look_is_looked_at_once_at_its_end() -> None:
    assert _run(lies=True, blocks=5).statement().validity is Validity.NOT_VALID


def test_a_source_that_clamps_in_silence_is_told_by_its_read_back() -> None:
    scenario = load_scenario("shunt")
    scenario = replace(scenario, source_faults=replace(scenario.source_faults, clamp=0.6))
    rehearsal = Rehearsal(scenario)
    end = rehearsal.run(recipe_of(scenario))
    assert end.reason is EndReason.INSTRUMENT
    assert rehearsal.statement().validity is Validity.NOT_VALID
    assert rehearsal.readings == []  # before a reading was taken
