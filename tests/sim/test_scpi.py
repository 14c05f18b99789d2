"""The parser against SCPI-99 volume 1 and IEEE 488.2, clause by clause."""

import threading

import pytest

from sim.clock import VirtualClock
from sim.scpi.core import ScpiDevice


class Toy(ScpiDevice):
    def __init__(self) -> None:
        super().__init__("Generic,Toy,0,1", VirtualClock(), threading.RLock())
        self.level = 0.0
        self.add("[SOURce]:CURRent[:LEVel][:IMMediate]", set_=self._set, query=lambda: str(self.level))

    def _set(self, text: str) -> None:
        self.level = float(text)


@pytest.fixture
def toy() -> Toy:
    return Toy()


def error(toy: Toy) -> int:
    reply = toy.process("SYST:ERR?")
    assert reply is not None
    return int(reply.split(",")[0])


@pytest.mark.parametrize(
    "header", ["CURR", "curr", "CURRENT", "SOUR:CURR", ":SOURCE:CURR:LEV", "CURR:IMM", "CURR:LEV:IMM"]
)
def test_long_and_short_form_and_optional_nodes(toy: Toy, header: str) -> None:
    toy.process(f"{header} 2")
    assert (toy.level, error(toy)) == (2.0, 0)


@pytest.mark.parametrize("header", ["CURRE 1", "CUR 1", "SOURC:CURR 1", "CURR:AMPL 1", "*IDN", "SYST:ERR", "NONSENSE"])
def test_anything_between_the_forms_is_an_undefined_header(toy: Toy, header: str) -> None:
    assert toy.process(header) is None
    assert error(toy) == -113


def test_after_a_semicolon_the_path_goes_on(toy: Toy) -> None:
    assert toy.process("SYST:VERS?;ERR?") == '1999.0;0,"No error"'
    assert toy.process("SYST:VERS?;SYST:ERR?") == "1999.0"
    assert error(toy) == -113
    assert toy.process("SYST:VERS?;:SYST:ERR?") == '1999.0;0,"No error"'
    assert toy.process("SYST:VERS?;*OPC?;ERR?") == '1999.0;1;0,"No error"'


def test_a_failed_query_answers_nothing_and_the_rest_goes_on(toy: Toy) -> None:
    assert toy.process("NONS?;:SYST:ERR?") == '-113,"Undefined header"'


@pytest.mark.parametrize(
    ("message", "code"), [("CURR", -109), ("CURR 1,2", -108), ("*RST 1", -108), ("*ESE 256", -222)]
)
def test_parameters_are_counted(toy: Toy, message: str, code: int) -> None:
    toy.process(message)
    assert error(toy) == code


def test_queue_overflow_replaces_the_newest(toy: Toy) -> None:
    for _ in range(20):
        toy.process("NONSENSE")
    codes = [error(toy) for _ in range(17)]
    assert codes == [-113] * 15 + [-350, 0]


def test_status_registers(toy: Toy) -> None:
    # IEEE 488.2-1992: 11.5.1 command error is bit 5 of the event status, 11.2 event summary bit 5 of the status byte.
    toy.process("*ESE 32;:NONSENSE")
    assert toy.process("*STB?") == str(0x04 | 0x20)
    assert toy.process("*ESR?") == "32"
    assert toy.process("*ESR?") == "0"
    toy.process("*RST")
    assert error(toy) == -113
    toy.process("NONSENSE;*CLS")
    assert error(toy) == 0


def test_a_message_longer_than_the_buffer(toy: Toy) -> None:
    toy.process("X" * 5000)
    assert error(toy) == -363
