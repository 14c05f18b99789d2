import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchapp.errors import QuantityError
from benchapp.quantity import (
    concise,
    engineering,
    parse,
    parse_area,
    parse_coefficient,
    parse_difference,
    parse_positive,
    parse_temperature,
    shown_number,
)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("100 mA", "A", 0.1),
        ("100mA", "A", 0.1),
        ("30 mA", "A", 0.03),
        ("0.2 uohm", "ohm", 2e-7),
        ("0.2 µΩ", "ohm", 2e-7),
        ("0.2 μΩ", "ohm", 2e-7),
        ("0.2 µ\u2126", "ohm", 2e-7),
        ("250 uOhm", "ohm", 2.5e-4),
        ("-10 mV", "V", -0.01),
        ("1.5e-3 V", "V", 1.5e-3),
        (".5 V", "V", 0.5),
        ("20 ms", "s", 0.02),
        ("2 min", "s", 120.0),
        ("50 Hz", "Hz", 50.0),
        ("0", "A", 0.0),
        ("1 kA", "A", 1000.0),
    ],
)
def test_text_becomes_exactly_the_si_number(text: str, unit: str, value: float) -> None:
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    "text", ["0.1", "", "mA", "1 V", "1 mA mA", "1 quux", "1,5 mA", "nan A", "1e999 A", "1 A*2", "1 A/s"]
)
def test_what_is_no_current_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(QuantityError, match="100 mA"):
        parse(text, "A")


def test_a_bare_number_is_told_what_to_write() -> None:
    with pytest.raises(QuantityError, match=r'has no unit .*Write "0.1 A"'):
        parse("0.1", "A")


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (100.032e-6, 0.011e-6, "100.032(11) µΩ"),
        (100.0321e-6, 0.0099e-6, "100.0321(99) µΩ"),
        (1.00005e-3, 1e-7, "1.00005(10) mΩ"),
        (-2.5e-6, 3.2e-8, "-2.500(32) µΩ"),
        (123.4e-6, 110e-6, "120(110) µΩ"),
        (0.0, 2.5e-9, "0.0(25) nΩ"),
        (3.0e-9, 2.5e-6, "0.0(25) µΩ"),
        (999.9996e-6, 1e-9, "999.9996(10) µΩ"),
    ],
)
def test_concise_notation(value: float, u: float, text: str) -> None:
    assert concise(value, u, "ohm") == text


def test_concise_notation_of_the_gum() -> None:
    # JCGM 100:2008, 7.2.2: "m_S = 100.021 47(35) g".
    assert concise(100.02147, 0.00035, "g") == "100.02147(35) g"


@given(st.floats(1e-9, 1e3), st.floats(1e-5, 0.5))
def test_concise_keeps_the_value_within_half_of_its_last_digit(value: float, relative_u: float) -> None:
    u = value * relative_u
    number, unit = concise(value, u, "ohm").split(" ")
    digits, parenthesis = number.rstrip(")").split("(")
    factor = parse(f"1 {unit}", "ohm")
    last = 10.0 ** -len(digits.partition(".")[2])
    step = last if "." in digits else 10.0 ** max(0, math.floor(math.log10(float(f"{u:.1e}") / factor) + 1e-9) - 1)
    assert abs(float(digits) * factor - value) <= 0.51 * step * factor
    shown_u = float(parenthesis) * (1.0 if "." in parenthesis else last if "." in digits else 1.0) * factor
    assert shown_u == pytest.approx(u, rel=0.06)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0012345, "1.234 mV"), (0.0, "0.000 V"), (9.9996e-4, "1.000 mV"), (123456.0, "123.5 kV"), (math.nan, "– V")],
)
def test_engineering(value: float, text: str) -> None:
    assert engineering(value, "V") == text


@pytest.mark.parametrize(
    ("value", "u", "half_width", "digits", "certain", "parenthesis"),
    [
        (12.3794e-6, 0.0062e-6, 0.0125e-6, "12.3794", 4, "62"),  # 12.3 is certain: 0.1 > 0.0125 > 0.01
        (12.3794e-6, 0.0012e-6, 0.0024e-6, "12.3794", 5, "12"),
        (12.3794e-6, 0.6e-6, 1.3e-6, "12.38", 1, "60"),  # the tens only
        (12.3794e-6, 1.4e-6, 3e-6, "12.4", 1, "14"),
        (12.3794e-6, 20e-6, 40e-6, "12", 0, "20"),
        (-12.3794e-6, 0.0062e-6, 0.0125e-6, "\u221212.3794", 5, "62"),
        (120e-6, 0.4e-6, 0.9e-6, "120.00", 3, "40"),
    ],
)
def test_certain_digits_are_those_worth_more_than_the_interval(
    value: float, u: float, half_width: float, digits: str, certain: int, parenthesis: str
) -> None:
    shown = shown_number(value, u, half_width, "ohm", -6)
    assert (shown.digits, shown.certain, shown.parenthesis, shown.unit) == (digits, certain, parenthesis, "µΩ")


@pytest.mark.parametrize(
    ("reader", "text", "told"),
    [
        (lambda text: parse(text, "A"), "1e7 A", "no bench has such a current"),
        (lambda text: parse(text, "ohm"), "-1e19 ohm", "no bench has such a resistance"),
        (parse_temperature, "-274 degC", "no specimen has such a temperature"),
        (parse_temperature, "-1 K", "no specimen has such a temperature"),
        (parse_temperature, "4000 degC", "no specimen has such a temperature"),
        (parse_coefficient, "1 / K", "no conductor has such"),
        (parse_coefficient, "-1e300 / K", "no conductor has such"),
        (parse_difference, "10000 K", "no bench has such a difference"),
        (parse_area, "-2 mm2", "not above 0"),
        (lambda text: parse_positive(text, "ohm"), "0 ohm", "not above 0"),
        (lambda text: parse_positive(text, "ohm"), "-1 ohm", "not above 0"),
        (lambda text: parse_positive(text, "ohm", or_zero=True), "-1 ohm", "below 0"),
    ],
)
def test_what_no_bench_has_is_a_slip(reader: Callable[[str], float], text: str, told: str) -> None:
    with pytest.raises(QuantityError, match=told):
        reader(text)


def test_what_a_bench_has_is_taken() -> None:
    assert parse_temperature("-196 degC") == -196
    assert parse_temperature("0 K") == -273.15
    assert parse_coefficient("-80 ppm/K") == pytest.approx(-80e-6)
    assert parse_positive("0 ohm", "ohm", or_zero=True) == 0
    assert parse("1 Tohm", "ohm") == 1e12
