"""What strict parsers do and how instruments deviate, fact by fact, against our parser and one from the package index.

The other parser resolves headers only; an instrument is built on it whose settings are those of the simulated one.
"""

import re
import threading
from collections import deque
from pathlib import Path

import pytest
import scpi

from drivers.dialect import load_dialect
from drivers.errors import InstrumentError, LinkTimeout, ReportedError, SettingError
from drivers.link import Habits, Link
from drivers.scpi_source import ScpiSource
from drivers.scpi_voltmeter import ScpiVoltmeter
from sim.bench import SimulatedBench
from sim.clock import VirtualClock
from sim.devices.faulty import Device
from sim.loopback import Loopback
from sim.scenario import load_scenario
from sim.scpi.core import ScpiDevice
from tests.published.references import reference

SOURCE = [
    "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
    "[SOURce]:CURRent:RANGe",
    "[SOURce]:VOLTage:LIMit[:AMPLitude]",
    "OUTPut[:STATe]",
    "STATus:QUEStionable:CONDition",
]
VOLTMETER = [
    "[SENSe]:VOLTage[:DC]:NPLCycles",
    "[SENSe]:VOLTage[:DC]:RANGe[:UPPer]",
    "[SENSe]:VOLTage[:DC]:RANGe:AUTO",
    "[SENSe]:FUNCtion[:ON]",
    "CALibration:ZERO:AUTO",
    "TRIGger[:SEQuence]:SOURce",
    "READ",
]
COMMON = ["*IDN", "*RST", "*OPC", "SYSTem:ERRor[:NEXT]"]


class ForeignDevice:
    """Headers resolved by the other parser; a unit that it does not know queues -113 and the rest goes on."""

    reply_end = "\n"

    def __init__(self, device: ScpiDevice, expressions: list[str]) -> None:
        self._device = device
        self.clock = device.clock
        # That library takes a colon after an optional first node for a part of the header.
        self._commands = scpi.Commands({_with_colon_inside(e): e for e in [*COMMON, *expressions]})

    def process(self, message: str) -> str | None:
        replies = []
        for request in scpi.split_line(message):
            try:
                expression = self._commands[request.name]
            except KeyError:
                self._device.raise_error(-113)
                continue
            canonical = re.sub(r"\[.*?\]", "", re.sub(r"^\[.*?\]:", "", expression)).upper()
            unit = f"{':' if not canonical.startswith('*') else ''}{canonical}{'?' if request.query else ''}"
            reply = self._device.process(f"{unit} {request.args}".strip())
            if reply is not None:
                replies.append(reply)
        return ";".join(replies) if replies else None


def _with_colon_inside(expression: str) -> str:
    return expression.replace("[SOURce]:", "[SOURce:]").replace("[SENSe]:", "[SENSe:]")


def _bench() -> SimulatedBench:
    return SimulatedBench(load_scenario("shunt"), VirtualClock())


def _pair(bench: SimulatedBench, foreign: bool) -> tuple[ScpiSource, ScpiVoltmeter]:
    assert isinstance(bench.source, ScpiDevice)
    assert isinstance(bench.voltmeter, ScpiDevice)
    source: Device = ForeignDevice(bench.source, SOURCE) if foreign else bench.source
    voltmeter: Device = ForeignDevice(bench.voltmeter, VOLTMETER) if foreign else bench.voltmeter
    return (
        ScpiSource(Link(lambda: Loopback(source), "SOURCE"), load_dialect("scpi", "source")),
        ScpiVoltmeter(Link(lambda: Loopback(voltmeter), "METER"), load_dialect("scpi", "voltmeter")),
    )


@pytest.mark.parametrize("foreign", [False, True])
def test_the_drivers_measure_on_either_parser(foreign: bool) -> None:
    bench = _bench()
    source, voltmeter = _pair(bench, foreign)
    source.open()
    voltmeter.open()
    source.configure(current_A=5.0, compliance_V=1.0)
    voltmeter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=0.01)
    source.output_on()
    values = []
    for level in (5.0, -5.0, 5.0):
        source.step(level)
        bench.clock.sleep(0.02)
        values.append(voltmeter.read())
    assert (values[0] - 2 * values[1] + values[2]) / 20 == pytest.approx(250.037e-6, rel=1e-3)
    assert all(setting.verified for setting in (*source.settings, *voltmeter.settings))
    assert source.safe()
    assert not bench.source.output_on


@pytest.mark.parametrize("expression", [*SOURCE, *VOLTMETER, *(c for c in COMMON if c != "*RST")])
def test_both_parsers_take_the_same_headers(expression: str) -> None:
    device = ScpiDevice("toy", VirtualClock(), threading.RLock())
    if expression not in COMMON:
        device.add(expression, query=lambda: "1", set_=lambda text: None)
    commands = scpi.Commands({_with_colon_inside(expression): 1})
    nodes = re.sub(r"[\[\]]", "", expression).split(":")
    forms = set()
    for word in (
        str,
        lambda text: re.sub("[a-z]", "", text),
        str.lower,
        lambda text: text[:-1] if len(text) > 5 else text,
    ):
        forms.add(":".join(word(node) for node in nodes))
    for form in forms:
        if expression.startswith("*") and form != form.upper():
            continue  # the other one does not fold common commands
        reply = device.process(f"{form}?")
        ours = reply is not None or "-113" not in (device.process("SYST:ERR?") or "")
        device.process("*CLS")
        assert ours == (form in commands), form


def test_only_short_and_long_forms_exist() -> None:
    # SCPI-99 vol. 1, 6.2.1, from the collection of references.
    entry = reference("scpi-short-long-form")
    for long, short in zip(entry["inputs"]["long"], entry["expected"]["short"], strict=True):
        device = ScpiDevice("toy", VirtualClock(), threading.RLock())
        device.add(short + long[len(short) :].lower(), query=lambda: "1")
        assert device.process(f"{short}?") == "1"
        assert device.process(f"{long}?") == "1"


def test_special_numbers_read_as_overload() -> None:
    # SCPI-99 vol. 1, 7.2.1.4: infinity and not-a-number.
    for text in reference("scpi-special-numbers")["inputs"]["reply"]:
        assert not abs(float(text)) < 1e30


class Scripted:
    """A wire that answers from a table; unknown messages are kept and answered with nothing."""

    def __init__(self, answers: dict[str, str], end: str = "\n") -> None:
        self.answers, self.sent = answers, []  # type: ignore[var-annotated]  # texts
        self._end = end
        self._waiting: deque[str] = deque()

    def send(self, data: bytes) -> None:
        for line in data.decode("ascii").splitlines():
            self.sent.append(line)
            if line in self.answers:
                self._waiting.extend(self.answers[line].split("\n"))

    def receive(self, timeout_s: float) -> bytes:
        if not self._waiting:
            raise TimeoutError
        return self._waiting.popleft().encode("ascii")

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        raise TimeoutError

    def clear(self) -> None:
        self._waiting.clear()

    def sleep(self, seconds: float) -> None:
        pass

    def close(self) -> None:
        pass


def _dialect(tmp_path: Path, text: str, kind: str = "voltmeter") -> str:
    path = tmp_path / "d.toml"
    path.write_text(f'kind = "{kind}"\n{text}')
    return str(path)


def _meter(tmp_path: Path, text: str, answers: dict[str, str]) -> tuple[ScpiVoltmeter, Scripted]:
    dialect = load_dialect(_dialect(tmp_path, text), "voltmeter")
    wire = Scripted({"*IDN?": "Box,1", **answers})
    link = Link(
        lambda: wire, "ADDR", timeout_s=0.01,
        habits=Habits(dialect.command_gap_s, dialect.max_message_bytes, dialect.prompt, dialect.echo),
    )  # fmt: skip
    meter = ScpiVoltmeter(link, dialect)
    return meter, wire


NO_ERRORS = '[errors]\nmode = "none"\n[sync]\nmode = "none"\n'


@pytest.mark.parametrize(
    ("read", "reply", "value"),
    [
        ('get = "R?"\nreply = "V {value}"', "V +1.23E-3", 1.23e-3),
        ('get = "R?"\nreply = "{value} mV"\nscale = 1000.0', "+10.0 mV", 0.010),
        ('get = "R?"\nreply = "{value},{skip}"', "1.5E-6,12.3,0", 1.5e-6),
        ('get = "R?"\nreply = "\\"{value}\\""', '"2.5E-6"', 2.5e-6),
        ('get = "R?"\nreply = "{value},"', "3E-6,", 3e-6),
        ('get = "R?"\nreply = "re2:[NDO](?P<value>[-+0-9.E]+)"', "N-4.0E-6", -4e-6),
    ],
)
def test_readings_in_odd_clothes(tmp_path: Path, read: str, reply: str, value: float) -> None:
    meter, _ = _meter(tmp_path, f'{NO_ERRORS}[cap.nplc]\nset = "N {{value}}"\n[cap.read]\n{read}\n', {"R?": reply})
    meter.open()
    meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    assert meter.read() == pytest.approx(value)


@pytest.mark.parametrize("reply", ["OVLD", "----", "9.9E37", "+9.91000E+37"])
def test_overload_in_words_and_numbers(tmp_path: Path, reply: str) -> None:
    text = f'{NO_ERRORS}[format]\noverload = ["OVLD", "----"]\n[cap.nplc]\nset = "N {{value}}"\n'
    meter, _ = _meter(tmp_path, text + '[cap.read]\nget = "R?"\nreply = "{value}"\nscale = 1000.0\n', {"R?": reply})
    meter.open()
    meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    assert not abs(meter.read()) < 1e30


def test_a_prompt_and_a_stray_carriage_return_are_taken_off(tmp_path: Path) -> None:
    text = f'{NO_ERRORS}[link]\nprompt = "> "\n[cap.nplc]\nset = "N {{value}}"\n[cap.read]\nget = "R?"\n'
    meter, _ = _meter(tmp_path, text, {"*IDN?": "> Box,1\r", "R?": "> 1.0\r"})
    meter.open()
    meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    assert (meter.identity, meter.read()) == ("Box,1", 1.0)


def test_an_empty_reply_is_no_reply(tmp_path: Path) -> None:
    meter, _ = _meter(tmp_path, f'{NO_ERRORS}[cap.read]\nget = "R?"\n', {"*IDN?": ""})
    with pytest.raises(LinkTimeout):
        meter.open()


def test_an_error_in_place_of_data_is_an_error(tmp_path: Path) -> None:
    text = '[errors]\nmode = "reply"\nreply = "ERR {value}"\n[sync]\nmode = "none"\n[cap.nplc]\nset = "N {value}"\n'
    meter, _ = _meter(tmp_path, text + '[cap.read]\nget = "R?"\n', {"R?": "ERR 17"})
    meter.open()
    meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    with pytest.raises(ReportedError, match="17"):
        meter.read()


def test_an_event_register_instead_of_a_queue(tmp_path: Path) -> None:
    text = '[errors]\nmode = "register"\nquery = "*ESR?"\n[sync]\nmode = "none"\n[cap.nplc]\nset = "N {value}"\n'
    meter, wire = _meter(tmp_path, text + '[cap.read]\nget = "R?"\n', {"*ESR?": "0"})
    meter.open()
    wire.answers["*ESR?"] = "32"
    with pytest.raises(ReportedError, match="event register"):
        meter.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)


def test_a_queue_that_never_empties_is_left(tmp_path: Path) -> None:
    meter, wire = _meter(
        tmp_path, '[sync]\nmode = "none"\n[cap.read]\nget = "R?"\n', {":SYST:ERR?": '-113,"again; and"'}
    )
    meter.open()
    assert len(wire.sent) < 100
    assert any("-113" in notice for notice in meter.notices)


@pytest.mark.parametrize("entry", ["+0", '0,"No error"', "+0,No error", "0"])
def test_ways_to_say_no_error(tmp_path: Path, entry: str) -> None:
    meter, _ = _meter(tmp_path, '[sync]\nmode = "none"\n[cap.read]\nget = "R?"\n', {":SYST:ERR?": entry})
    meter.open()
    assert meter.notices == []


_ROUNDED = (("up", "0.1", True), ("up", "0.01", False), ("down", "0.01", True), ("nearest", "0.06", True))


def test_a_setting_rounded_up_down_or_to_the_nearest(tmp_path: Path) -> None:
    for rounds, got, agrees in (
        ("up", "0.1", True),
        ("up", "0.01", False),
        ("down", "0.01", True),
        ("nearest", "0.06", True),
    ):
        text = f'{NO_ERRORS}[cap.nplc]\nset = "N {{value}}"\nget = "N?"\nrounds = "{rounds}"\n[cap.read]\nget = "R?"\n'
        meter, _ = _meter(tmp_path, text, {"N?": got})
        meter.open()
        if agrees:
            assert meter.set("nplc", 0.05).verified
        else:
            with pytest.raises(SettingError):
                meter.set("nplc", 0.05)


def test_write_only_settings_are_told_as_not_verified(tmp_path: Path) -> None:
    meter, _ = _meter(tmp_path, f'{NO_ERRORS}[cap.nplc]\nset = "N {{value}}"\n[cap.read]\nget = "R?"\n', {})
    meter.open()
    assert not meter.set("nplc", 1.0).verified


def test_a_limit_in_the_dialect_refuses_before_anything_is_sent(tmp_path: Path) -> None:
    text = f'{NO_ERRORS}[cap.nplc]\nset = "N {{value}}"\nlow = 0.1\nhigh = 10.0\n[cap.read]\nget = "R?"\n'
    meter, wire = _meter(tmp_path, text, {})
    meter.open()
    with pytest.raises(SettingError, match="limits in its dialect"):
        meter.set("nplc", 50.0)
    assert not any(message.startswith("N ") for message in wire.sent)


def test_a_message_too_long_for_its_buffer_is_not_sent(tmp_path: Path) -> None:
    text = (
        f'{NO_ERRORS}[link]\nmax_message_bytes = 12\n[cap.nplc]\nset = "NUMBER:OF {{value}}"\n[cap.read]\nget = "R?"\n'
    )
    meter, wire = _meter(tmp_path, text, {})
    meter.open()
    with pytest.raises(InstrumentError, match="max_message_bytes"):
        meter.set("nplc", 1.0)
    assert not any(message.startswith("NUMBER") for message in wire.sent)


def test_commands_ahead_of_a_setting_keep_their_order(tmp_path: Path) -> None:
    text = f'{NO_ERRORS}[cap.nplc]\nbefore = ["FUNC V", "UNLOCK"]\nset = "N {{value}}"\n[cap.read]\nget = "R?"\n'
    meter, wire = _meter(tmp_path, text, {})
    meter.open()
    meter.set("nplc", 1.0)
    assert [m.split()[0] for m in wire.sent[-3:]] == ["FUNC", "UNLOCK", "N"]


def test_the_wrong_instrument_is_refused(tmp_path: Path) -> None:
    meter, _ = _meter(tmp_path, f'{NO_ERRORS}[identify]\nreply = "LAMP {{skip}}"\n[cap.read]\nget = "R?"\n', {})
    with pytest.raises(InstrumentError, match=r"dialect .* is for"):
        meter.open()


def test_numbers_leave_in_plain_base_units(tmp_path: Path) -> None:
    meter, wire = _meter(tmp_path, f'{NO_ERRORS}[cap.nplc]\nset = "N {{value}}"\n[cap.read]\nget = "R?"\n', {})
    meter.open()
    meter.set("nplc", 0.001)
    assert wire.sent[-1] == "N 1.00000000E-03"
