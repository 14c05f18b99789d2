"""The guardian's own parts, in this process: what it sends, hears, waits for, and when it acts."""

from __future__ import annotations

import json
import os
import select
import socket
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, ClassVar

import pytest
import pyvisa

from drivers import guardian_process
from drivers.guardian import SafePlan
from drivers.guardian_process import BEAT_TIMEOUT_S, Connection, Guardian, Orders, SocketConnection

PLAN = asdict(
    SafePlan("here", "127.0.0.1", 1, None, (":SOUR:CURR 0", ":OUTP OFF"), "*IDN?", "me", ":OUTP?", ("0",), "\r\n", "\n")
)


class Scripted(Connection):
    """Gives what is scripted, piece by piece; nothing is a time-out that takes its time."""

    def __init__(self, *pieces: bytes | None, end: bytes = b"\n") -> None:
        super().__init__(end)
        self.pieces = list(pieces)
        self.sent: list[bytes] = []
        self.asked_s: list[float] = []

    def send(self, data: bytes) -> None:
        self.sent.append(data)

    def _receive(self, timeout_s: float) -> bytes:
        self.asked_s.append(timeout_s)
        piece = self.pieces.pop(0) if self.pieces else None
        if piece is None:
            time.sleep(timeout_s)
            raise TimeoutError
        return piece


def soon(seconds: float = 0.5) -> float:
    return time.monotonic() + seconds


def test_lines_come_whole_whatever_the_pieces() -> None:
    connection = Scripted(b"on", b"e\ntw", None, b"o\nthree\nfour\n")
    assert [connection.line(soon()) for _ in range(4)] == ["one", "two", "three", "four"]
    connection = Scripted(b"a\xb5b \r\nc", end=b"\r\n")
    assert connection.line(soon()) == "a\u00b5b"
    assert connection._buffer == b"c"


def test_nothing_comes_by_the_deadline() -> None:
    connection = Scripted()
    began = time.monotonic()
    assert connection.line(began + 0.6) is None
    assert 0.55 < time.monotonic() - began < 0.9
    assert max(connection.asked_s) <= 0.25
    assert connection.line(time.monotonic() - 1.0) is None
    assert Scripted(b"there\n").line(time.monotonic() - 1.0) is None


def test_a_closed_connection_is_told() -> None:
    with pytest.raises(ConnectionError):
        Scripted(b"half", b"").line(soon())


def test_a_socket_sends_and_hears() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        connection = SocketConnection(ours, b"\n")
        connection.send(b"*IDN?\n")
        assert theirs.recv(100) == b"*IDN?\n"
        theirs.sendall(b"me\n")
        assert connection.line(soon()) == "me"
        assert connection.line(soon(0.1)) is None


def guardian(**changes: Any) -> Guardian:
    found = Guardian(Orders())
    assert found._arm({**PLAN, "pattern_program": "", **changes}) == ""
    return found


def test_off_is_sent_whole_and_read_back() -> None:
    connection = Scripted(b"stale\n", b"me\n0\n")
    assert guardian()._off(connection, soon())
    # A line end first, for half a message of the application's.
    assert connection.sent == [b"\r\n:SOUR:CURR 0\r\n:OUTP OFF\r\n*IDN?\r\n", b":OUTP?\r\n"]


@pytest.mark.parametrize(
    ("pieces", "changes", "off"),
    [
        ((b"me\n1\n",), {}, False),
        ((b"me\n",), {}, False),  # no answer to the question
        ((b"other\n0\n",), {}, False),  # its own answer never came
        ((), {}, False),
        ((b"me\n:OUTP?\n:OUTP?\n0\n",), {}, True),  # sends back what it gets
        ((b"> me\n> 0\n",), {"prompt": ">"}, True),
        ((b"me\n0\n",), {"query": ""}, False),  # nothing can be asked
    ],
)
def test_off_is_believed_only_as_read(pieces: tuple[bytes, ...], changes: dict[str, Any], off: bool) -> None:
    assert guardian(**changes)._off(Scripted(*pieces), soon(0.3)) is off


def test_it_must_stay_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guardian_process, "_LOOK_AGAIN_S", 0.2)
    reads: Iterator[bool] = iter([True, False, True, True, True, True, True, True])
    found = guardian()
    waits_s: list[float] = []

    def off(_: Connection, deadline: float) -> bool:
        waits_s.append(deadline - time.monotonic())
        return next(reads)

    monkeypatch.setattr(found, "_off", off)
    began = time.monotonic()
    assert found._keep_off(Scripted(), soon())
    assert time.monotonic() - began >= 0.2
    assert all(0.9 < wait_s <= 1.0 for wait_s in waits_s[1:])
    monkeypatch.setattr(found, "_off", lambda *_: False)
    assert not found._keep_off(Scripted(), soon())
    began = time.monotonic()
    assert guardian(query="")._keep_off(Scripted(), soon(0.1))  # the sequence was sent, and more cannot be known
    assert time.monotonic() - began < 0.2


def test_the_handed_on_socket_first_then_connections_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = socket.socketpair()
    theirs.close()
    tried: list[str] = []
    waits_s: list[float] = []

    def keep_off(connection: Connection, first_answer_by: float) -> bool:
        tried.append(type(connection).__name__)
        waits_s.append(first_answer_by - time.monotonic())
        if isinstance(connection, SocketConnection):
            raise OSError("broken")
        return len(tried) >= 3

    def connect() -> Connection:
        if len(tried) == 1:
            tried.append("refused")
            raise ConnectionRefusedError
        return Scripted()

    found = guardian()
    found._sockets = [ours]
    monkeypatch.setattr(found, "_keep_off", keep_off)
    monkeypatch.setattr(found, "_connect", connect)
    assert found._kept_off(soon(5.0))
    assert tried == ["SocketConnection", "refused", "Scripted"]
    # A socket that was handed on may be dead without a word: one second, then connections of its own.
    assert 0.9 < waits_s[0] <= 1.0
    assert waits_s[1] > 3.0
    ours.close()
    tried.clear()
    monkeypatch.setattr(found, "_keep_off", lambda *_: False)
    began = time.monotonic()
    assert not found._kept_off(began + 0.3)
    assert 0.25 < time.monotonic() - began < 1.0


@pytest.mark.parametrize(
    ("kept_off", "query", "gone"), [(True, ":OUTP?", True), (False, ":OUTP?", False), (True, "", False)]
)
def test_the_note_goes_only_where_off_was_proved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept_off: bool, query: str, gone: bool
) -> None:
    note = tmp_path / "armed.json"
    note.write_text("{}")
    found = guardian(mark=str(note), query=query)
    given_s: list[float] = []

    def kept(give_up: float) -> bool:
        given_s.append(give_up - time.monotonic())
        return kept_off

    monkeypatch.setattr(found, "_kept_off", kept)
    found._switch_off()
    assert 100 < given_s[0] < 200  # it tries for minutes: who hangs on to the instrument may be slow to let go
    assert note.exists() is not gone
    guardian(mark="")  # without a note there is nothing to take away


class ScriptedOrders(Orders):
    """Orders as they would come; an empty list is a tick without any."""

    def __init__(self, *orders: list[dict[str, Any]] | None, tick_s: float = 0.0) -> None:
        self.left = list(orders)
        self.tick_s = tick_s

    def take(self, timeout_s: float) -> list[dict[str, Any]] | None:
        time.sleep(self.tick_s)
        return self.left.pop(0) if self.left else []


ARM = {"order": "arm", "pattern_program": "", **PLAN}
BEAT = {"order": "beat", "number": 7}


def acted(monkeypatch: pytest.MonkeyPatch, orders: ScriptedOrders) -> tuple[bool, list[str]]:
    """Whether it acted, and what it said."""
    said: list[str] = []
    done: list[bool] = []
    monkeypatch.setattr(guardian_process, "_say", said.append)
    found = Guardian(orders)
    monkeypatch.setattr(found, "_switch_off", lambda: done.append(True))
    found.run()
    return bool(done), said


def test_it_leaves_when_it_is_disarmed(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = ScriptedOrders([ARM], [BEAT], [], [{"order": "disarm"}])
    assert acted(monkeypatch, orders) == (False, ["ok 0", "ok 7"])


def test_it_acts_when_the_application_closes_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    assert acted(monkeypatch, ScriptedOrders([ARM], None)) == (True, ["ok 0", "acting"])
    assert acted(monkeypatch, ScriptedOrders([], None)) == (False, [])  # nothing was armed


def test_it_acts_when_its_parent_is_another(monkeypatch: pytest.MonkeyPatch) -> None:
    parents = iter([1, 1, 2, 2, 2])
    monkeypatch.setattr("drivers.guardian_process.os.getppid", lambda: next(parents))
    assert acted(monkeypatch, ScriptedOrders([ARM], [BEAT], [BEAT])) == (True, ["ok 0", "acting"])


@pytest.mark.parametrize(("beats", "acts_at_s"), [(0, BEAT_TIMEOUT_S), (3, BEAT_TIMEOUT_S)])
def test_it_acts_a_while_after_the_last_beat(monkeypatch: pytest.MonkeyPatch, beats: int, acts_at_s: float) -> None:
    now = [100.0]

    class Clock(ScriptedOrders):
        def take(self, timeout_s: float) -> list[dict[str, Any]] | None:
            now[0] += 0.1
            return self.left.pop(0) if self.left else []

    monkeypatch.setattr("drivers.guardian_process.time.monotonic", lambda: now[0])
    orders = Clock([ARM], *([[], [], [BEAT]] * beats))
    assert acted(monkeypatch, orders) == (True, ["ok 0", *["ok 7"] * beats, "acting"])
    last = 100.0 + 0.1 * (1 + 3 * beats)
    assert now[0] - last == pytest.approx(acts_at_s + 0.1, abs=0.11)


def test_beats_that_waited_in_the_pipe_are_heard_before_the_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Starved itself: late is not dead."""
    now = [100.0]

    class Starved(ScriptedOrders):
        def take(self, timeout_s: float) -> list[dict[str, Any]] | None:
            now[0] += 5.0
            return self.left.pop(0)

    monkeypatch.setattr("drivers.guardian_process.time.monotonic", lambda: now[0])
    orders = Starved([ARM], [BEAT], [BEAT], [{"order": "disarm"}])
    assert acted(monkeypatch, orders) == (False, ["ok 0", "ok 7", "ok 7"])


def test_unarmed_it_waits_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]

    class Idle(ScriptedOrders):
        def take(self, timeout_s: float) -> list[dict[str, Any]] | None:
            now[0] += 10.0
            return self.left.pop(0)

    monkeypatch.setattr("drivers.guardian_process.time.monotonic", lambda: now[0])
    assert acted(monkeypatch, Idle([], [], [], None)) == (False, [])


def test_a_fault_in_arming_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = ScriptedOrders([{**ARM, "host": None, "address": "nowhere", "library": "@py"}], [{"order": "disarm"}])
    did, said = acted(monkeypatch, orders)
    assert not did
    assert said[0].startswith("no ")


def test_orders_come_line_by_line(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = os.pipe()
    read = os.read
    monkeypatch.setattr("drivers.guardian_process.os.read", lambda _, count: read(ours, count))
    wait = select.select
    monkeypatch.setattr("drivers.guardian_process.select.select", lambda _, w, x, t: wait([ours], w, x, t))
    orders = Orders()
    assert orders.take(0.05) == []
    os.write(theirs, json.dumps(BEAT).encode() + b"\n" + b'{"order": ')
    assert orders.take(1.0) == [BEAT]
    os.write(theirs, b'"disarm"}\n')
    assert orders.take(1.0) == [{"order": "disarm"}]
    os.close(theirs)
    assert orders.take(1.0) is None
    os.close(ours)


def test_a_connection_of_its_own_goes_where_the_plan_says(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        found = guardian(host="127.0.0.1", port=listener.getsockname()[1])
        connection = found._connect()
        assert isinstance(connection, SocketConnection)
        theirs, _ = listener.accept()
        with theirs:
            connection.send(b":OUTP OFF\n")
            assert theirs.recv(100) == b":OUTP OFF\n"
        connection._socket.close()
    opened: list[tuple[str, str, bytes]] = []

    class Visa(Scripted):
        def __init__(self, address: str, library: str, end: bytes, set_up: object = None) -> None:
            assert set_up is None
            super().__init__(end=end)
            opened.append((address, library, end))

        def close(self) -> None:
            opened.append(("closed", "", b""))

    monkeypatch.setattr(guardian_process, "VisaConnection", Visa)
    found = guardian(host=None, address="GPIB0::7::INSTR", library="@py")
    assert opened == [("GPIB0::7::INSTR", "@py", b"\n"), ("closed", "", b"")]  # tried before the output goes on
    assert isinstance(found._connect(), Visa)


def test_a_visa_connection_waits_as_long_as_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    class Resource:
        timeout = 0
        read_termination = ""
        answers: ClassVar[list[object]] = []
        closed = False

        def write_raw(self, data: bytes) -> None:
            if data == b"broken\n":
                raise RuntimeError("gone")

        def read(self, encoding: str) -> str:
            answer = self.answers.pop(0)
            if isinstance(answer, Exception):
                raise answer
            return str(answer)

        def close(self) -> None:
            self.closed = True
            raise OSError

    resource = Resource()

    class Manager:
        def __init__(self, library: str) -> None:
            assert library == "@py"

        def open_resource(self, address: str) -> Resource:
            if address == "nowhere":
                raise ValueError(address)
            return resource

    monkeypatch.setattr(pyvisa, "ResourceManager", Manager)
    connection = guardian_process.VisaConnection("GPIB0::7::INSTR", "@py", b"\r\n")
    assert resource.read_termination == "\r\n"
    late = pyvisa.VisaIOError(pyvisa.constants.StatusCode.error_timeout)
    resource.answers[:] = [late, "me", "0"]
    assert [connection.line(soon(2.0)) for _ in range(2)] == ["me", "0"]
    assert 240 <= resource.timeout <= 250
    resource.answers[:] = [late]
    with pytest.raises(TimeoutError):
        connection._receive(0.0001)
    assert resource.timeout == 1  # none at all would mean for ever
    resource.answers[:] = [RuntimeError("gone")]
    with pytest.raises(ConnectionError, match="gone"):
        connection.line(soon())
    with pytest.raises(ConnectionError, match="gone"):
        connection.send(b"broken\n")
    connection.send(b"OFF\n")
    connection.close()
    assert resource.closed
    with pytest.raises(ConnectionError, match="nowhere"):
        guardian_process.VisaConnection("nowhere", "@py", b"\n")
