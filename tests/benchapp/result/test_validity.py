"""The gate: each flag has an effect, and the table in the guide says the same."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

import assets
from benchapp.analysis.estimate import Flag, estimate_readings
from benchapp.analysis.traps import detect
from benchapp.events import EndReason, RunEnd
from benchapp.result.validity import (
    EFFECTS,
    Effect,
    Validity,
    flags_of_complaints,
    flags_of_end,
    flags_of_interval,
    judge,
)

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize("code", EFFECTS)
def test_each_flag_has_its_effect(code: str) -> None:
    effect = EFFECTS[code]
    validity, reasons = judge([Flag(code, "warning", "text", size_ohm=2.0)], 1.0)
    expected = {
        Effect.NOTICE: Validity.VALID,
        Effect.DOUBTFUL: Validity.DOUBTFUL,
        Effect.NOT_VALID: Validity.NOT_VALID,
        Effect.BY_SIZE: Validity.NOT_VALID,
    }[effect]
    assert validity is expected
    assert [reason.code for reason in reasons] == ([] if effect is Effect.NOTICE else [code])
    if effect is Effect.BY_SIZE:
        assert judge([Flag(code, "warning", "text", size_ohm=0.5)], 1.0)[0] is Validity.DOUBTFUL
        assert judge([Flag(code, "warning", "text")], 1.0)[0] is Validity.NOT_VALID


def test_every_flag_that_the_program_can_raise_is_in_the_table() -> None:
    raised = set(detect._TEXTS)
    for folder in ("benchapp/analysis", "benchapp/result"):
        for path in (ROOT / folder).rglob("*.py"):
            raised |= set(re.findall(r'Flag\(\s*"([a-z-]+)"', path.read_text("utf-8")))
    assert len(raised) > 20
    assert raised <= set(EFFECTS)


def test_the_guide_has_the_table() -> None:
    guide = (Path(assets.__file__).parent / "guide" / "07-flags.md").read_text("utf-8")
    found = re.findall(r"^\| `([a-z-]+)` \| ([a-z ,U]+) \| (.+) \| (.+) \|$", guide, re.MULTILINE)
    assert {code: effect for code, effect, _, _ in found} == {code: str(effect) for code, effect in EFFECTS.items()}
    assert all(len(what) > 10 and len(remedy) > 10 for _, _, what, remedy in found)


def test_the_gravest_comes_first() -> None:
    flags = [Flag("step", "warning", "a"), Flag("time-gap", "notice", "b"), Flag("open-lead", "warning", "c")]
    validity, reasons = judge(flags, 1.0)
    assert validity is Validity.NOT_VALID
    assert [reason.code for reason in reasons] == ["open-lead", "step"]


@pytest.mark.parametrize("reason", EndReason)
def test_only_a_planned_end_carries_a_verdict(reason: EndReason) -> None:
    found, _ = judge(flags_of_end(RunEnd(reason, "text", output_off=True), endless=False), 1.0)
    if reason is EndReason.OVERLOAD:
        return  # its reading carries the flag
    assert (found is Validity.VALID) == (reason is EndReason.RULE)
    left_on, _ = judge(flags_of_end(RunEnd(reason, "text", output_off=False), endless=True), 1.0)
    assert left_on is Validity.NOT_VALID


def test_a_source_that_refuses_is_believed() -> None:
    flags = flags_of_complaints(["reports -222 Data out of range"] * 90, [])
    assert judge(flags, 1.0)[0] is Validity.NOT_VALID
    assert "and 89 more" in flags[0].text


def test_a_size_of_just_u_is_not_larger_than_u() -> None:
    assert judge([Flag("self-heating", "warning", "text", size_ohm=1.0)], 1.0)[0] is Validity.DOUBTFUL
    assert judge([Flag("self-heating", "warning", "text", size_ohm=1.001)], 1.0)[0] is Validity.NOT_VALID


@pytest.mark.parametrize(("u", "codes"), [(1e-9, []), (0.0, ["no-interval"]), (math.nan, ["no-interval"])])
def test_without_an_interval_there_is_no_verdict(u: float, codes: list[str]) -> None:
    estimate, _ = estimate_readings([0.0, 1.0, 2.0], [1.0, -1.0, 1.0], [1.0, -1.0, 1.0])
    estimate = replace(estimate, standard_uncertainty_ohm=u)
    assert [flag.code for flag in flags_of_interval(estimate)] == codes


def test_complaints_are_told_with_their_number() -> None:
    flags = flags_of_complaints(["one."], ["two", "three"])
    assert [flag.code for flag in flags] == ["level-refused", "voltmeter-complained"]
    assert [flag.severity for flag in flags] == ["stop", "warning"]
    assert "The source reported one in the middle" in flags[0].text
    assert "reported two (and 1 more) in the middle" in flags[1].text
    assert flags_of_complaints([], []) == []


def test_ends_in_words() -> None:
    def codes(reason: EndReason, *, off: bool = True, endless: bool = False) -> list[tuple[str, str]]:
        flags = flags_of_end(RunEnd(reason, "Because.", output_off=off), endless=endless)
        return [(flag.code, flag.severity) for flag in flags]

    assert codes(EndReason.RULE) == []
    assert codes(EndReason.OPERATOR) == [("ended-early", "warning")]
    assert codes(EndReason.OPERATOR, endless=True) == []
    assert codes(EndReason.UNREACHABLE, endless=True) == [("ended-early", "warning")]
    assert codes(EndReason.COMPLIANCE) == [("compliance", "stop")]
    for reason in (EndReason.INSTRUMENT, EndReason.LIMIT, EndReason.RECORD, EndReason.BUG):
        assert codes(reason, off=False) == [("broken-off", "stop"), ("output-not-off", "stop")]
