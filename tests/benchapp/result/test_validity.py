"""The gate: each flag has an effect, and the table in the guide says the same."""

import re
from pathlib import Path

import pytest

import assets
from benchapp.analysis.estimate import Flag
from benchapp.analysis.traps import detect
from benchapp.events import EndReason, RunEnd
from benchapp.result.validity import EFFECTS, Effect, Validity, flags_of_complaints, flags_of_end, judge

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
    guide = (Path(assets.__file__).parent / "guide" / "guide.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `([a-z-]+)` \| ([a-z ,U]+) \|", guide, re.MULTILINE))
    assert rows == {code: str(effect) for code, effect in EFFECTS.items()}


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
