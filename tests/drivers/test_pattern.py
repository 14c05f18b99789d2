"""Templates and RE2: what they find, and that no pattern and no reply can hold up the program."""

import time

import pytest

from drivers.dialect.pattern import LONGEST_REPLY, PatternError, compile_pattern


@pytest.mark.parametrize(
    ("template", "reply", "found"),
    [
        ("{value}", "+1.5E-3", "+1.5E-3"),
        ("I = {value} mA", "I = -12.500000 mA", "-12.500000"),
        ("I = {value} mA", "I =   3 mA", "3"),
        ("V {value} t={skip}", "V +1.2E-05 t=3.2,a", "+1.2E-05"),
        ("{skip},{value}", "OK,.5", ".5"),
        ("OUT {text}", "OUT ON", "ON"),
        ("[{text}]", "[HOLD]", "HOLD"),
        ("LANTERN {skip}", "LANTERN VOLTMETER", "LANTERN VOLTMETER"),
        ("I = {value} mA", "I = twelve mA", None),
        ("I = {value} mA", "I = 1 A", None),
        (r"re2:V (?P<value>[-+0-9.E]+)(;.*)?", "V 1.5;x", "1.5"),
    ],
)
def test_what_a_pattern_finds(template: str, reply: str, found: str | None) -> None:
    assert compile_pattern(template).find(reply) == found


@pytest.mark.parametrize("source", ["{level}", "{value}{value}", "re2:(unclosed", r"re2:(?=look)ahead"])
def test_what_is_no_pattern(source: str) -> None:
    with pytest.raises(PatternError):
        compile_pattern(source)


@pytest.mark.parametrize("source", ["re2:(a+)+b", "{skip}a{skip}a{skip}a{skip}b", "{value} {text} {skip}x"])
def test_a_hostile_pattern_costs_nothing(source: str) -> None:
    pattern = compile_pattern(source)
    start = time.perf_counter()
    pattern.find("a" * (LONGEST_REPLY - 1))
    pattern.find("1" * (LONGEST_REPLY - 1))
    assert time.perf_counter() - start < 1.0
    assert pattern.find("b" * (LONGEST_REPLY + 1)) is None


def test_a_word_may_be_skipped_before_a_word() -> None:
    assert compile_pattern("{skip} {text}").find("V1 OPR") == "OPR"
