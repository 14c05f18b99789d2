"""Instruments that are connected otherwise: greetings, a connection a message, serial lines, talk-only, no identity."""

from __future__ import annotations

import contextlib
import io
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

import pytest
from pyvisa import constants

from benchapp.bench.check import probe_instrument
from benchapp.cli.main import main
from drivers.dialect import Dialect, load_dialect
from drivers.errors import DialectError, LinkClosed, LinkError, LinkTimeout
from drivers.guardian import SafePlan
from drivers.guardian_process import Guardian, Orders
from drivers.probe import dialect_text
from drivers.registry import make_link, make_source, make_voltmeter
from drivers.serial_line import set_up_line
from sim.bench import SimulatedBench
from sim.clock import ScaledClock
from sim.loopback import Loopback
from sim.scenario import load_scenario
from tests.drivers.test_asking import Table
from tests.faults.test_guardian_parts import Scripted

_PLAIN = '[errors]\nmode = "none"\n[sync]\nmode = "none"\n'
_SOURCE = """kind = "source"
[sequence]
safe = ["OFF!"]
[cap.level]
set = "I {value}"
get = "I?"
[cap.compliance]
set = "U {value}"
get = "U?"
[cap.output]
set = "OUT {value}"
get = "OUT?"
kind = "bool"
"""


def dialect(tmp_path: Path, text: str, kind: str = "source") -> Dialect:
    path = tmp_path / "odd.toml"
    path.write_text(text)
    return load_dialect(str(path), kind)


Serve = Callable[[socket.socket], None]


@pytest.fixture
def served() -> Iterator[Callable[[Serve], str]]:
    """The address of an instrument that serves each connection with the given function."""
    listeners = []

    def listen(serve: Serve) -> str:
        listener = socket.create_server(("127.0.0.1", 0))
        listeners.append(listener)

        def accept() -> None:
            with contextlib.suppress(OSError):
                while True:
                    connection, _ = listener.accept()
                    threading.Thread(target=one, args=(connection,), daemon=True).start()

        def one(connection: socket.socket) -> None:
            with contextlib.suppress(OSError), connection:
                serve(connection)

        threading.Thread(target=accept, daemon=True).start()
        return f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"

    yield listen
    for listener in listeners:
        listener.close()


class Memory:
    """Settings by name, as one instrument keeps them over its connections."""

    def __init__(self) -> None:
        self.values = {"I": "0", "U": "1", "OUT": "1"}
        self.log: list[str] = []

    def answer(self, message: str) -> str | None:
        self.log.append(message)
        if message == "*IDN?":
            return "odd box"
        if message == "OFF!":
            self.values["OUT"] = "0"
            return None
        name, _, value = message.rstrip("?").partition(" ")
        if message.endswith("?"):
            return self.values.get(name)
        self.values[name] = {"ON": "1", "OFF": "0"}.get(value, value)
        return None


def lines(connection: socket.socket) -> Iterator[str]:
    buffer = b""
    while data := connection.recv(4096):
        *whole, buffer = (buffer + data).split(b"\n")
        yield from (line.decode().strip() for line in whole if line.strip())


def test_a_greeting_is_no_identity(tmp_path: Path, served: Callable[[Serve], str]) -> None:
    memory = Memory()

    def serve(connection: socket.socket) -> None:
        connection.sendall(b"WELCOME TO ODD BOX 7\n")
        for line in lines(connection):
            answer = memory.answer(line)
            if answer is not None:
                connection.sendall(answer.encode() + b"\n")

    address = served(serve)
    with contextlib.closing(
        make_source(address, dialect(tmp_path, _SOURCE + _PLAIN + "[link]\ngreeting = true\n"))
    ) as found:
        found.open()
        assert found.identity == "odd box"
        found.link.reopen()
        assert found.get_number("compliance") == 1.0


def test_a_connection_a_message(tmp_path: Path, served: Callable[[Serve], str]) -> None:
    memory = Memory()

    def serve(connection: socket.socket) -> None:
        line = next(lines(connection), "")
        answer = memory.answer(line) if line else None
        if answer is not None:
            connection.sendall(answer.encode() + b"\n")

    address = served(serve)
    with contextlib.closing(
        make_source(address, dialect(tmp_path, _SOURCE + _PLAIN + "[link]\nhangs_up = true\n"))
    ) as found:
        found.open()
        assert found.identity == "odd box"
        assert memory.values["OUT"] == "0"
        found.configure(current_A=0.5, compliance_V=2.0)
        found.output_on()
        found.step(0.5)
        assert (memory.values["OUT"], float(memory.values["I"])) == ("1", 0.5)
        plan = found.safe_plan()
        assert plan.hangs_up
        assert plan.fd is None
        guardian = Guardian(Orders())
        assert guardian._arm({**asdict(plan), "pattern_program": "", "line_program": ""}) == ""
        assert guardian._kept_off(time.monotonic() + 5.0)
        assert memory.values["OUT"] == "0"
        assert found.read_output() is False
        with pytest.raises(LinkClosed, match="nothing was asked"):
            found.link._wire.receive(0.1)


def test_without_an_identity_late_answers_are_not_taken_for_others(
    tmp_path: Path, served: Callable[[Serve], str]
) -> None:
    slow: list[str] = ["I?"]
    memory = Memory()

    def serve(connection: socket.socket) -> None:
        for line in lines(connection):
            answer = memory.answer(line)
            if line in slow:
                slow.remove(line)
                time.sleep(0.5)
            if answer is not None:
                connection.sendall(answer.encode() + b"\n")

    text = _SOURCE + _PLAIN + '[identify]\nquery = ""\n[link]\ntimeout_s = 0.2\n'
    with contextlib.closing(make_source(served(serve), dialect(tmp_path, text))) as found:
        found.open()
        assert found.identity == "odd, which cannot be asked"
        assert "*IDN?" not in memory.log
        assert found.has("level")
        slow.append("I?")
        with pytest.raises(LinkTimeout):
            found.get_number("level")
        memory.values["U"] = "3"
        assert found.get_number("compliance") == 3.0


PLAN = asdict(SafePlan("here", "127.0.0.1", 1, None, ("OFF!",), "", "", "OUT?", ("0",), "\n", "\n"))


def test_the_guardian_skips_what_waited_where_nothing_tells_whose_answer_it_is() -> None:
    guardian = Guardian(Orders())
    assert guardian._arm({**PLAN, "pattern_program": "", "line_program": ""}) == ""
    connection = Scripted(b"0\n", b"0\n", None, b"1\n")
    assert not guardian._off(connection, time.monotonic() + 1.0)
    assert connection.sent == [b"\nOFF!\n", b"OUT?\n"]
    assert guardian._off(Scripted(None, b"0\n"), time.monotonic() + 1.0)


@pytest.mark.parametrize(
    ("reply", "off"), [("0", True), ("4", True), ("1", False), ("2", False), ("3", False), ("7", False)]
)
def test_several_bits_may_mean_on(reply: str, off: bool) -> None:
    guardian = Guardian(Orders())
    plan = {
        **PLAN,
        "identify": "*IDN?",
        "identity": "me",
        "bit": 0,
        "mask": 3,
        "pattern_program": "",
        "line_program": "",
    }
    assert guardian._arm(plan) == ""
    assert guardian._means_off(reply) is off


def test_the_lines_settings_are_those_of_the_dialect(tmp_path: Path) -> None:
    text = (
        _SOURCE + _PLAIN + '[link]\nbaud_rate = 9600\ndata_bits = 7\nparity = "even"\nstop_bits = 2\nflow = "rts-cts"\n'
    )
    settings = dialect(tmp_path, text).serial

    class Resource:
        """Takes any attribute."""

    resource = Resource()
    set_up_line(resource, settings)
    assert vars(resource) == {
        "baud_rate": 9600,
        "data_bits": 7,
        "parity": constants.Parity.even,
        "stop_bits": constants.StopBits.two,
        "flow_control": constants.ControlFlow.rts_cts,
    }
    assert dialect(tmp_path, _SOURCE + _PLAIN).serial == {}


@pytest.mark.parametrize(
    "line", ["baud_rate = 3", "data_bits = 9", 'parity = "odd?"', "stop_bits = 3", 'flow = "soft"']
)
def test_what_no_serial_line_has(tmp_path: Path, line: str) -> None:
    with pytest.raises(DialectError, match=f"link.{line.partition(' ')[0]}"):
        dialect(tmp_path, _SOURCE + _PLAIN + f"[link]\n{line}\n")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo terminal")
def test_a_serial_line_is_set_up_when_it_is_opened(tmp_path: Path) -> None:
    import termios

    ours, theirs = os.openpty()
    text = _SOURCE + _PLAIN + "[link]\nbaud_rate = 19200\nstop_bits = 2\n"
    link = make_link(f"ASRL{os.ttyname(theirs)}::INSTR", dialect(tmp_path, text))
    try:
        flags = termios.tcgetattr(theirs)
        assert flags[4] == termios.B19200
        assert flags[2] & termios.CSTOPB
    finally:
        link.close()
        os.close(ours)
        os.close(theirs)


def test_a_meter_that_only_talks(tmp_path: Path, served: Callable[[Serve], str]) -> None:
    """A reading that was begun before the change is thrown away, the next one counts."""
    level = [1.0]

    def serve(connection: socket.socket) -> None:
        while True:
            value = level[0]  # integrates from here on
            time.sleep(0.1)
            connection.sendall(f"DCV {value:+.3E}\n".encode())

    text = (
        'kind = "voltmeter"\n' + _PLAIN + '[identify]\nquery = ""\n[cap.read]\nlisten = true\nreply = "DCV {value}"\n'
    )
    with contextlib.closing(make_voltmeter(served(serve), dialect(tmp_path, text, "voltmeter"))) as found:
        found.open()
        found.configure(nplc=5.0, line_frequency_Hz=50.0, range_V=None)
        for value in (2.0, -3.0, 0.5, 7.0):
            level[0] = value
            assert found.read() == value


def test_the_status_byte_tells_when_it_is_done(tmp_path: Path) -> None:
    text = _SOURCE + '[errors]\nmode = "none"\n[sync]\nmode = "status"\nquery = "*OPC"\ninterval_s = 0.01\n'
    table = Table({"I?": "0", "*ESR?": "1"}, {"I 5.00000000E-01": ("I?", "0.5")})

    class Wire(Loopback):
        bytes_left = 3

        def status_byte(self) -> int:
            self.bytes_left -= 1
            return 0x20 if self.bytes_left <= 0 else 0x04

    source = make_source("box", dialect(tmp_path, text), wire=lambda: Wire(table))
    source.open()
    source.set("level", 0.5)
    assert table.log[-3:] == ["*OPC", "*ESR?", "I?"]
    slow = make_source("box", dialect(tmp_path, text), wire=lambda: Loopback(table))
    slow.open()
    with pytest.raises(LinkError, match="no status byte"):
        slow.set("level", 0.5)
    Wire.bytes_left = 10_000
    late = make_source("box", dialect(tmp_path, text), wire=lambda: Wire(table))
    late.open()
    with pytest.raises(LinkTimeout, match=r"not done within 2 s at '\*OPC'.*\*ESE 1"):
        late.set("level", 0.5)


def _shouts(memory: Memory) -> Serve:
    """No SCPI: carriage returns, a greeting, two lines for STATUS, an acknowledgement for everything else."""

    def serve(connection: socket.socket) -> None:
        connection.sendall(b"READY\r")
        buffer = b""
        while data := connection.recv(4096):
            *whole, buffer = (buffer + data).split(b"\r")
            for line in whole:
                memory.log.append(line.decode())
                connection.sendall(b"V 1.5\rA 0.25\r" if line == b"STATUS" else b"OK\r")

    return serve


def test_talk_shows_every_answer_of_an_instrument_without_scpi(
    served: Callable[[Serve], str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    memory = Memory()
    address = served(_shouts(memory))
    monkeypatch.setattr("sys.stdin", io.StringIO("STATUS\nSET 3\n"))
    ends = ["--line-end", "cr", "--answer-end", "cr"]
    assert main(["instruments", "talk", address, "--plain", "--timeout", "0.5", *ends]) == 0
    told = capsys.readouterr()
    assert told.out.splitlines() == ["READY", "V 1.5", "A 0.25", "OK"]
    assert "nothing was asked about its output" in told.err
    assert memory.log == ["STATUS", "SET 3"]


@pytest.mark.parametrize("late_s", [0.0, 0.6])
def test_a_probe_takes_no_greeting_for_an_identity(
    tmp_path: Path, served: Callable[[Serve], str], late_s: float
) -> None:
    sim = SimulatedBench(load_scenario("shunt"), ScaledClock(50))
    lock = threading.Lock()

    def serve(connection: socket.socket) -> None:
        time.sleep(late_s)
        connection.sendall(b"WELCOME\n")
        for line in lines(connection):
            with lock:
                reply = sim.source.process(line)
            if reply is not None:
                connection.sendall(reply.encode() + b"\n")

    seen: list[tuple[str, int, int]] = []
    address = served(serve)
    report = probe_instrument("source", address, progress=lambda *step: seen.append(step))
    assert report.identity == "Generic,Current Source,0,1.0"
    assert report.greeting == "WELCOME"
    assert [done for _, done, _ in seen] == list(range(len(seen)))
    assert seen[-1][1:] == (len(seen) - 1, len(seen))
    path = tmp_path / "probed.toml"
    path.write_text(dialect_text(report, "probed"))
    with contextlib.closing(make_source(address, load_dialect(str(path), "source"))) as found:
        if late_s == 0.0:  # later than half a second it is no greeting that a driver would wait for
            found.open()
            assert found.identity == report.identity
            assert found.has("range")
