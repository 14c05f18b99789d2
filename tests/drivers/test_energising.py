"""What no dialect may say, and what the driver asks before it switches on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchapp.bench.plan import plan_bench
from benchapp.errors import InputError
from drivers.dialect import load_dialect
from drivers.dialect.energising import numbers_of, why_it_energises
from drivers.errors import DialectError, SettingError
from drivers.registry import make_source
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.scenario import load_scenario
from sim.server import BenchServer

REFUSED = [
    'sequence.reset = ["*RST", ":SOUR:CURR 9900", ":OUTP ON"]',
    'sequence.reset = ["OUTPUT:STATE 1"]',
    'sequence.reset = ["*RST;:OUTP 1"]',
    'sequence.reset = ["*RCL 1"]',
    'sequence.reset = ["CURR MAX"]',
    'sequence.reset = ["CURR #HFF"]',
    'sequence.reset = ["*RST\\n:OUTP ON"]',
    'sequence.safe = [":OUTP 2"]',
    'sequence.safe = [":SOUR:CURR 5", ":OUTP OFF"]',
    'identify.query = ":OUTP ON;*IDN?"',
    'errors.query = ":SOUR:CURR 9;:SYST:ERR?"',
    'sync.query = "OUTP 1;*OPC?"',
    'cap.range = { set = ":SOUR:CURR:RANG {value}", before = [":SOUR:CURR 9.9"] }',
    'cap.range = { set = ":CURR {value}", get = ":CURR?", scale = 1e6 }',
    'cap.range = { set = ":SOUR:CURR:LEV:IMM:AMPL {value}", scale = 1e6 }',
    'cap.compliance = { set = ":CURR 9;:SOUR:VOLT:LIM {value}", get = ":SOUR:VOLT:LIM?" }',
    'cap.level = { set = ":SOUR:CURR {value}", get = ":SOUR:CURR?", scale = 2 }',
    'cap.level = { set = ":SOUR:CURR {value}", get = ":SOUR:CURR?", atol = 5 }',
    'cap.level = { set = ":SOUR:CURR {value}", get = ":OUTP ON;:SOUR:CURR?" }',
    'cap.level = { set = ":SOUR:CURR {value}", kind = "index", table = [9, 99] }',
    'cap.mode = { on_set = ":OUTP ON", off_set = ":SOUR:CURR:MODE FIX", get = ":SOUR:CURR:MODE?", kind = "bool" }',
    'cap.autorange = { set = "R:AUTO {value}", kind = "bool", on = "ON;:OUTP ON" }',
    'cap.autorange = { set = "R:AUTO {value}", kind = "bool", on = "9900" }',
    'cap.step_source = { set = ":CURR {value}", kind = "text", value = "9900" }',
    'cap.abort = { set = ":ABOR;:CURR 5", kind = "text" }',
    "link.command_gap_s = 1e9",
    "link.timeout_s = 1e9",
    'sync.mode = "delay"\nsync.delay_s = 1e7',
    'cap.range = { set = ":SOUR:CURR:RANG {value}", settle_s = 1e6 }',
]


@pytest.mark.parametrize("line", REFUSED)
def test_a_dialect_names_settings_and_never_energises(tmp_path: Path, line: str) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(f'{line}\nkind = "source"\nextends = "scpi"\n')
    with pytest.raises(DialectError, match="odd"):
        load_dialect(str(path), "source")


@pytest.mark.parametrize(
    "line",
    [
        'sequence.reset = ["*RST", "*CLS;*ESE 60"]',
        'sequence.safe = [":SOUR:CURR 0", ":OUTP OFF"]',
        'sequence.safe = ["OUTP 0"]',
        'cap.compliance = { set = ":SOUR2:VOLT:LIM {value}", get = ":SOUR2:VOLT:LIM?", atol = 0.01 }',
        'cap.level = { set = ":SOUR:CURR:MODE FIX;:SOUR:CURR {value}", get = ":SOUR:CURR?" }',
        'cap.limiting = { get = ":STAT:QUES:COND? 1", kind = "bit", bit = 4 }',
        "cap.output = { on_set = 'F1', off_set = 'F0', get = 'F?', kind = 'bool', on = '1', off = '0' }",
    ],
)
def test_what_instruments_need_is_taken(tmp_path: Path, line: str) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(f'{line}\nkind = "source"\nextends = "scpi"\n')
    assert load_dialect(str(path), "source").id == "scpi"


def test_what_a_message_would_do() -> None:
    scpi, quill = load_dialect("scpi", "source"), load_dialect("quill", "source")
    assert list(numbers_of("SOURCE:CURRENT 0.9;:SOUR:VOLT:LIM 3;:SOUR:CURR?", scpi)) == [
        ("level", 0.9),
        ("compliance", 3.0),
    ]
    assert list(numbers_of("CURR MAX", scpi)) == [("level", math.inf)]
    assert list(numbers_of("I 12.5", quill)) == [("level", 12.5)]
    assert why_it_energises("drive", quill)
    assert why_it_energises(":outp:stat on", scpi)
    assert not why_it_energises(":OUTP OFF;*IDN?", scpi)


@pytest.fixture
def server() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(10))
    with BenchServer(sim) as running:
        yield sim, running


def test_the_off_message_is_sent_though_the_safe_sequence_forgets_it(
    server: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    path = tmp_path / "slip.toml"
    path.write_text('sequence.safe = [":OUPT OFF"]\nkind = "source"\nextends = "scpi"\n')
    source = make_source(server[1].source, load_dialect(str(path), "source"))
    source.open()
    source.configure(current_A=0.01, compliance_V=1.0)
    source.output_on()
    assert server[0].source.output_on
    assert source.safe_plan().safe == (":OUPT OFF", ":OUTP OFF")
    assert source.safe()
    assert not server[0].source.output_on
    source.close()


@pytest.mark.parametrize(
    ("order", "told"),
    [
        (":SOUR:CURR 0.02", "level of 0 A was asked and 0.02 A reads back"),
        (":SOUR:VOLT:LIM 3", "compliance of 1 V was asked and 3 V reads back"),
        (":SOUR:CURR 0;:OUTP ON", "the output is on though only settings were sent"),
    ],
)
def test_nothing_goes_on_where_a_setting_moved_level_compliance_or_output(
    server: tuple[SimulatedBench, BenchServer], order: str, told: str
) -> None:
    source = make_source(server[1].source, load_dialect("scpi", "source"))
    source.open()
    source.configure(current_A=0.01, compliance_V=1.0)
    source.link.write(order)
    with pytest.raises(SettingError, match=told):
        source.output_on()
    assert source.safe()
    assert not server[0].source.output_on
    source.close()


@pytest.mark.parametrize(
    "line",
    [
        'sequence.reset = ["DRIVE"]',
        'cap.nplc = { set = "I {value}", scale = 1e6 }',
        'cap.nplc = { set = "N {value}", before = ["I 9900"] }',
        'cap.nplc = { set = "N {value}", before = ["I9900"] }',
    ],
)
def test_the_voltmeter_of_one_instrument_does_not_drive_its_source(tmp_path: Path, line: str) -> None:
    path = tmp_path / "meter.toml"
    path.write_text(f'{line}\nkind = "voltmeter"\nextends = "lantern"\n')
    address = "TCPIP::127.0.0.1::9::SOCKET"
    with pytest.raises(InputError, match="--voltmeter-dialect"):
        plan_bench(address, address, "quill", str(path))
    assert plan_bench(address, address, "quill", "lantern").one_instrument


def test_an_acknowledged_off_leaves_the_answers_in_step(
    server: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    process = server[0].source.process

    def acknowledging(message: str) -> str | None:
        return process(message) or "OK"

    server[0].source.process = acknowledging  # type: ignore[method-assign]
    path = tmp_path / "polite.toml"
    path.write_text(
        'kind = "source"\nextends = "scpi"\nlink.compound = false\nsync.mode = "none"\n'
        'errors = { mode = "reply", reply = "ERR {value}", acknowledges = true }\n'
    )
    source = make_source(server[1].source, load_dialect(str(path), "source"))
    source.open()
    source.configure(current_A=0.01, compliance_V=1.0)
    source.output_on()
    assert source.safe()
    assert source.get_number("level") == 0.0  # one behind would read OK
    assert not server[0].source.output_on
    source.close()
