"""Text to SI numbers and back: "100 mA" to 0.1, and 100.032(11) µΩ for people to read.

Reading goes through pint with decimal arithmetic, so that what was typed arrives exactly; pint is loaded on first use
because it costs a third of a second.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import TYPE_CHECKING

from benchapp.errors import Fault, QuantityError

if TYPE_CHECKING:
    import pint

_EXAMPLES = {
    "A": "100 mA",
    "V": "10 mV",
    "ohm": "250 uohm",
    "s": "20 ms",
    "Hz": "50 Hz",
    "W": "5 W",
    "K": "25 degC",
    "m": "1 m",
}
_NAMES = {
    "A": "current",
    "V": "voltage",
    "ohm": "resistance",
    "s": "time",
    "Hz": "frequency",
    "W": "power",
    "m": "length",
}
_LONGEST_NUMBER, _LONGEST_UNIT = 400, 30
# What no bench has: beyond it stands a slip, and the arithmetic would carry it on.
_LARGEST = {"A": 1e6, "V": 1e6, "ohm": 1e18, "s": 1e10, "Hz": 1e12, "W": 1e9, "m": 1e7, "K": 1e4}
_COLDEST_C, _HOTTEST_C = -273.15, 3500.0
_STEEPEST_PER_K = 0.1  # no conductor's resistance changes by a tenth a kelvin
_FARTHEST = 400  # powers of ten: beyond them the arithmetic takes minutes
_FINEST = 1e-11  # a smaller u is one of the arithmetic
_SYMBOLS = {"ohm": "Ω"}
_PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*", re.DOTALL)


@cache
def _registry() -> pint.UnitRegistry[Decimal]:
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)


def parse_positive(text: str, unit: str, *, or_zero: bool = False) -> float:
    """As `parse`, for what exists only above 0. Raises QuantityError."""
    value = parse(text, unit)
    if value < 0 or (value == 0 and not or_zero):
        raise _refusal(f"this {_kind(unit)} is {'below' if or_zero else 'not above'} 0", text, unit)
    return value


def parse(text: str, unit: str) -> float:
    """The number in SI unit `unit` ("A", "V", "ohm", "s", "Hz", "W") that `text` means.

    A bare 0 needs no unit, any other number does: a forgotten unit is a factor of a thousand.
    Raises QuantityError.
    """
    if re.match(r"\s*[+-]?\d*,\d", text):
        raise _refusal("a comma stands in the number", text, unit, "Write a decimal point. ")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise _refusal(f"this is no {_kind(unit)}", text, unit)
    number, unit_text = match.groups()
    if len(number) > _LONGEST_NUMBER or len(unit_text) > _LONGEST_UNIT:
        raise _refusal(f"this is no {_kind(unit)}", text, unit)
    try:
        exact = Decimal(number)
    except InvalidOperation:  # an exponent that no arithmetic has
        exact = Decimal("Infinity")
    if exact and not (exact.is_finite() and abs(exact.adjusted()) < _FARTHEST):
        raise _refusal(f"this {_kind(unit)} is not finite", text, unit)
    if not unit_text:
        if float(number) == 0:
            return 0.0
        remedy = f'Write "{number} {unit}", or for example "{_example(unit)}"'
        raise QuantityError(Fault(f"this {_kind(unit)} has no unit", text, remedy))
    result = float(exact * _factor(unit_text, unit, text))
    if not abs(result) <= _LARGEST.get(unit, math.inf):
        raise _refusal(f"no bench has such a {_kind(unit)}", text, unit)
    return result


def parse_temperature(text: str) -> float:
    """A temperature in degrees Celsius: "23 degC", "23 °C" or "296.15 K". Raises QuantityError."""
    match = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(degC|°C|K)\s*", text)
    if match is None:
        raise QuantityError(Fault("this is no temperature", text, 'Write for example "23 degC"'))
    value = float(match[1]) - (273.15 if match[2] == "K" else 0.0)
    if not _COLDEST_C <= value <= _HOTTEST_C:
        raise QuantityError(Fault("no specimen has such a temperature", text, 'Write for example "23 degC"'))
    return value


def parse_difference(text: str) -> float:
    """A difference of temperatures in kelvin: "0.2 K". Raises QuantityError."""
    match = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*(?:K|degC|°C)\s*", text)
    if match is None:
        raise QuantityError(Fault("this is no difference of temperatures", text, 'Write for example "0.2 K"'))
    if float(match[1]) > _HOTTEST_C:
        raise QuantityError(Fault("no bench has such a difference of temperatures", text, 'Write for example "0.2 K"'))
    return float(match[1])


def parse_area(text: str) -> float:
    """An area in square metres: "2.5 mm2", "2.5 mm²" or "1 cm^2". Raises QuantityError."""
    match = re.fullmatch(r"\s*(.+?)\s*([munµ\u03bcc]?m)\s*(?:2|²|\^2|\*\*2)\s*", text)
    if match is None:
        raise QuantityError(Fault("this is no area", text, 'Write for example "2.5 mm2"'))
    return parse_positive(f"{match[1]} {match[2]}", "m") * parse(f"1 {match[2]}", "m")


def parse_coefficient(text: str) -> float:
    """A temperature coefficient per kelvin: "0.00393 / K", "0.00393 1/K" or "20 ppm/K". Raises QuantityError."""
    match = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(ppm)?\s*1?\s*/\s*(?:K|degC|°C)\s*", text)
    if match is None:
        raise QuantityError(Fault("this is no temperature coefficient", text, 'Write for example "0.00393 / K"'))
    value = float(match[1]) * (1e-6 if match[2] else 1.0)
    if not abs(value) <= _STEEPEST_PER_K:
        remedy = 'Write for example "0.00393 / K"'
        raise QuantityError(Fault("no conductor has such a temperature coefficient", text, remedy))
    return value


def _kind(unit: str) -> str:
    return _NAMES.get(unit, f"quantity in {unit}")


def _example(unit: str) -> str:
    return _EXAMPLES.get(unit, f"1 {unit}")


def _refusal(problem: str, text: str, unit: str, hint: str = "") -> QuantityError:
    return QuantityError(Fault(problem, text, f'{hint}Write a number and its unit, for example "{_example(unit)}"'))


def _factor(unit_text: str, unit: str, text: str) -> Decimal:
    import pint

    # The ohm and micro signs have two code points each, and people write Ohm.
    spelled = unit_text.replace("\u2126", "\u03a9").replace("\u00b5", "\u03bc").replace("Ohm", "ohm")
    if not re.fullmatch(r"[A-Za-z\u03a9\u03bc]+", spelled):
        raise _refusal(f"{unit_text!r} is no unit", text, unit)
    try:
        return Decimal(_registry().Quantity(Decimal(1), spelled).m_as(unit))
    except pint.DimensionalityError as error:
        raise _refusal(f"{unit_text!r} is no unit of {_kind(unit)}", text, unit) from error
    except (pint.PintError, ValueError, ArithmeticError) as error:
        raise _refusal(f"{unit_text!r} is no known unit", text, unit) from error


def _prefix(magnitude: float) -> int:
    """Power of ten of the prefix under which `magnitude` has one to three digits before the point."""
    if magnitude == 0 or not math.isfinite(magnitude):
        return 0
    exponent = math.floor(math.log10(magnitude) + 1e-12)
    return max(-15, min(9, 3 * (exponent // 3)))


def _scaled(value: float, power: int) -> Decimal:
    return Decimal(repr(value)).scaleb(-power)


def _unit(unit: str, power: int) -> str:
    return _PREFIXES[power] + _SYMBOLS.get(unit, unit)


def engineering(value: float, unit: str, digits: int = 4) -> str:
    """`value` in SI `unit` with an engineering prefix and that many significant digits: "1.234 mV"."""
    if not math.isfinite(value):
        return f"– {_SYMBOLS.get(unit, unit)}"
    rounded = float(f"{value:.{digits - 1}e}")
    power = _prefix(abs(rounded))
    scaled = _scaled(rounded, power)
    places = digits - 1 - (scaled.adjusted() if scaled else 0)
    return f"{scaled:.{max(0, places)}f} {_unit(unit, power)}"


def concise(value: float, standard_uncertainty: float, unit: str) -> str:
    """`value` with its standard uncertainty's last two digits in parentheses: "100.032(11) µΩ".

    The form of JCGM 100:2008, 7.2.2; two significant digits as 7.2.6 advises. Both numbers in SI `unit`.
    """
    if not math.isfinite(standard_uncertainty) or standard_uncertainty <= 0 or not math.isfinite(value):
        return engineering(value, unit, 7)
    u = float(f"{standard_uncertainty:.1e}")
    if u < _FINEST * abs(value):
        return engineering(value, unit, 12)
    power = _prefix(max(abs(value), u))
    u_scaled = _scaled(u, power)
    last = u_scaled.adjusted() - 1  # decimal position of the second digit of u
    quantum = Decimal(1).scaleb(last)
    value_scaled = _scaled(value, power).quantize(quantum)
    if last >= 0:
        return f"{value_scaled:f}({u_scaled:.0f}) {_unit(unit, power)}"
    return f"{value_scaled:f}({_in_parentheses(u_scaled, last)}) {_unit(unit, power)}"


def _in_parentheses(u_scaled: Decimal, last: int) -> str:
    """Two digits of u, in units of the value's last digit: 250.0(13) means 1.3 (JCGM 100:2008, 7.2.2)."""
    return str(int(u_scaled.scaleb(-last)))


@dataclass(frozen=True, slots=True)
class ShownNumber:
    """A result as it is painted: the first `certain` characters of `digits` are beyond doubt."""

    digits: str
    certain: int
    parenthesis: str
    unit: str


def prefix_power(magnitude: float) -> int:
    """The power of ten of the engineering prefix that suits a magnitude."""
    return _prefix(abs(magnitude))


def shown_number(value: float, standard_uncertainty: float, half_width: float, unit: str, power: int) -> ShownNumber:
    """`value` under the prefix of `power`, to two digits of u; a digit is certain where its place is worth more than U.

    All in SI `unit`; `half_width` is U, of the 95 % interval.
    """
    u = Decimal(f"{standard_uncertainty:.1e}").scaleb(-power)
    last = u.adjusted() - 1
    scaled = _scaled(value, power).quantize(Decimal(1).scaleb(last))
    digits = f"{scaled:f}".replace("-", "\u2212")
    point = digits.find(".") if "." in digits else len(digits)
    interval = _scaled(half_width, power)
    certain = 0
    for index, char in enumerate(digits):
        place = point - index - 1 if index < point else point - index
        if char.isdigit() and Decimal(1).scaleb(place) <= interval:
            break
        certain = index + 1
    if interval >= abs(_scaled(value, power)):
        certain = 0  # not even the sign is certain
    if certain == point + 1 and certain < len(digits):
        certain = point  # the point belongs to the digit after it
    return ShownNumber(digits, certain, _in_parentheses(u, last) if last < 0 else f"{u:.0f}", _unit(unit, power))


def scaled_text(value: float, power: int, places: int) -> str:
    """`value` in units of 10^power with a fixed number of places, with a true minus sign."""
    return f"{_scaled(value, power):.{places}f}".replace("-", "\u2212")


def unit_text(unit: str, power: int) -> str:
    """The unit with its prefix: µΩ."""
    return _unit(unit, power)


def ppm(size: float, of: float) -> str:
    """The size of one quantity as a part of another in the same unit: ppm below a thousandth, else percent."""
    part = abs(size / of) if of else math.inf
    return f"{part * 1e6:.3g} ppm" if part < 1e-3 else f"{part * 100:.3g} %"
