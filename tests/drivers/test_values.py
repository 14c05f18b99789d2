"""How values are written and when a readback agrees, at the edges of each rule."""

import math

import pytest

from drivers.dialect import Format, Spelling
from drivers.errors import AddressError
from drivers.values import agrees, number_of, place_of, value_text
from drivers.wires import check_address, host_and_port

RANGES = Spelling(kind="index", table=(0.1, 1.0, 10.0), index_base=1)
FALLING = Spelling(kind="index", table=(10.0, 1.0, 0.1), index_base=0)


@pytest.mark.parametrize(
    ("value", "spelling", "text"),
    [
        (True, Spelling(kind="bool", on="EIN", off="AUS"), "EIN"),
        (False, Spelling(kind="bool", on="EIN", off="AUS"), "AUS"),
        (0.5, RANGES, "2"),
        (0.05, RANGES, "1"),
        (0.0025, Spelling(scale=1000.0), "2.50000000E+00"),
        (0.0025, Spelling(kind="text", value="FIX"), "FIX"),
    ],
)
def test_a_value_is_written_as_its_spelling_says(value: float | bool, spelling: Spelling, text: str) -> None:
    assert value_text(value, spelling, Format()) == text


@pytest.mark.parametrize(
    ("value", "rising", "falling"),
    [(0.0, 0, 2), (0.1, 0, 2), (0.1 * (1 + 1e-10), 0, 2), (0.1001, 1, 1), (-0.5, 1, 1), (1.0, 1, 1), (1.5, 2, 0)],
)
def test_the_smallest_range_that_holds_the_value(value: float, rising: int, falling: int) -> None:
    assert (place_of(value, RANGES), place_of(value, FALLING)) == (rising, falling)


def test_a_number_comes_back_in_si_units() -> None:
    assert number_of(250.0, Spelling(scale=1000.0)) == 0.25
    assert [number_of(read, RANGES) for read in (1.0, 3.0, 2.2)] == [0.1, 10.0, 1.0]
    assert all(math.isnan(number_of(read, RANGES)) for read in (0.0, 4.0, -1.0, math.nan, math.inf))


@pytest.mark.parametrize(
    ("rounds", "inside", "outside"),
    [
        ("exact", (1.0, 1.00009, 0.99991), (1.00011, 0.99989, -1.0, 0.0)),
        ("up", (1.0, 0.99991, 5.0, 11.9), (0.9998, 12.1, -1.0)),
        ("down", (1.0, 1.00009, 0.5, 0.084), (1.0002, 0.083, -1.0)),
        ("nearest", (1.0, 0.51, 1.49), (0.49, 1.51, -1.0)),
    ],
)
def test_a_readback_agrees_within_what_the_instrument_may_round(
    rounds: str, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    for scale in (1.0, 1000.0):
        spelling = Spelling(rounds=rounds, scale=scale)
        assert [agrees(1.0, read * scale, spelling) for read in inside] == [True] * len(inside)
        assert [agrees(1.0, read * scale, spelling) for read in outside] == [False] * len(outside)
        assert not agrees(1.0, math.nan, spelling)
    assert agrees(-2.0, -2.0001, Spelling())
    assert not agrees(-2.0, -2.0003, Spelling())
    assert agrees(-2.0, -1.2, Spelling(rounds="nearest"))


def test_near_zero_the_absolute_tolerance_holds() -> None:
    assert agrees(0.0, 0.009, Spelling(atol=0.01))
    assert not agrees(0.0, 0.011, Spelling(atol=0.01))
    assert not agrees(0.0, 1e-9, Spelling())
    assert agrees(100.0, 100.009, Spelling(atol=0.001))  # the wider of the two


def test_an_index_agrees_where_it_is_that_of_the_value() -> None:
    assert agrees(0.5, 2.0, RANGES)
    assert not agrees(0.5, 1.0, RANGES)
    assert not agrees(0.5, 3.0, RANGES)
    assert not agrees(0.5, math.nan, RANGES)


@pytest.mark.parametrize("port", [1, 5025, 65535])
def test_ports_that_exist(port: int) -> None:
    address = f"TCPIP0::host.example::{port}::SOCKET"
    check_address(address)
    assert host_and_port(f"  {address} ") == ("host.example", port)


@pytest.mark.parametrize(
    "address",
    [
        "TCPIP::host::0::SOCKET",
        "TCPIP::host::65536::SOCKET",
        "TCPIP::a..b::5::SOCKET",
        "here",
        "",
        "x" * 301,
        "TCPIP\0",
    ],
)
def test_addresses_that_are_none(address: str) -> None:
    with pytest.raises(AddressError, match=r"\. Write "):
        check_address(address)


def test_an_address_of_another_link_has_no_port() -> None:
    check_address("TCPIP::[::1]::5025::SOCKET")
    assert host_and_port("TCPIP::[::1]::5025::SOCKET") == ("::1", 5025)
    assert host_and_port("TCPIP::host::inst0::INSTR") is None
    assert host_and_port("GPIB0::7::INSTR") is None
