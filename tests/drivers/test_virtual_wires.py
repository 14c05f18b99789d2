"""The program's own wires over four kinds of links, in virtual time: pieces, deadlines, limits, hanging up."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from drivers.errors import LinkClosed, LinkRefused, LinkTimeout, ReplyError
from drivers.link import Link
from drivers.wires import Wire, open_wire
from sim.clock import VirtualClock
from tests.faults.virtual import TRANSPORTS, Line, virtual_links


class Parrot:
    """Answers what it is told to."""

    def __init__(self) -> None:
        self.replies: dict[str, str] = {"BLOCK?": "#15hello", "ONE?": "one", "TWO?": "two"}

    def process(self, message: str) -> str | None:
        return self.replies.get(message)

    def reset(self) -> None:
        """Nothing is set."""


class Bench:
    """A wire of a kind to a parrot."""

    def __init__(self, transport: str) -> None:
        self.clock = VirtualClock()
        self.transport = transport
        self.address = TRANSPORTS[transport].format(1)

    def open(self, fault: str = "", at: int = 0) -> Wire:
        self.line = Line(Parrot(), self.clock, fault, at)  # type: ignore[arg-type]
        self.links = virtual_links(self.clock, {self.address: self.line}, self.transport)
        self.links.__enter__()
        return open_wire(self.address)


@pytest.fixture(params=TRANSPORTS)
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    made = Bench(request.param)
    yield made
    made.links.__exit__(None, None, None)


def test_answers_come_one_by_one(bench: Bench) -> None:
    wire = bench.open()
    wire.send(b"ONE?\nTWO?\n")
    assert wire.receive(1.0) == b"one"
    assert wire.receive(1.0) == b"two"


def test_a_block_comes_by_its_length(bench: Bench) -> None:
    wire = bench.open()
    wire.send(b"BLOCK?\n")
    assert [wire.receive_bytes(count, 1.0) for count in (2, 1, 5)] == [b"#1", b"5", b"hello"]
    with pytest.raises(TimeoutError):
        wire.receive_bytes(10, 0.5)


def test_a_deadline_is_one_and_absolute(bench: Bench) -> None:
    wire = bench.open()
    for seconds in (0.25, 2.0):
        began = bench.clock.now()
        with pytest.raises(TimeoutError):
            wire.receive(seconds)
        assert seconds <= bench.clock.now() - began < seconds + 0.05


def test_a_byte_now_and_then_stretches_no_deadline(bench: Bench) -> None:
    wire = bench.open("byte by byte", 1)
    wire.send(b"ONE?\n")
    if bench.transport == "socket" or bench.transport == "serial":
        began = bench.clock.now()
        with pytest.raises(TimeoutError):
            wire.receive(1.0)
        assert bench.clock.now() - began < 1.5
        assert wire.receive(1.0) == b"one"  # what had come is kept


def test_a_late_answer_comes_within_its_deadline(bench: Bench) -> None:
    wire = bench.open("late", 1)
    wire.send(b"ONE?\n")
    assert wire.receive(1.0) == b"one"
    assert bench.clock.now() == pytest.approx(0.7, abs=0.05)


def test_endless_bytes_are_cut_off(bench: Bench) -> None:
    wire = bench.open("long", 1)
    wire.send(b"ONE?\n")
    with pytest.raises(ReplyError, match="64 kB"):
        wire.receive(30.0)


@pytest.mark.parametrize("transport", ["socket", "serial"])
def test_bytes_without_an_end_are_cut_off(transport: str) -> None:
    bench = Bench(transport)
    wire = bench.open("endless", 1)
    wire.send(b"ONE?\n")
    with pytest.raises(TimeoutError):
        wire.receive(2.0)
    with pytest.raises(ReplyError, match="64 kB"):
        wire.receive(30.0)
    assert bench.clock.now() < 10.0
    bench.links.__exit__(None, None, None)


def test_what_waits_is_cleared(bench: Bench) -> None:
    wire = bench.open()
    wire.send(b"ONE?\n")
    wire.clear()
    wire.send(b"TWO?\n")
    assert wire.receive(1.0) == b"two"


def test_hanging_up_is_told_by_name_and_one_can_come_back(bench: Bench) -> None:
    wire = bench.open("hangs up", 1)
    if bench.transport == "serial":
        return  # a line does not hang up
    with pytest.raises(LinkClosed, match=r"127\.0\.0\.1.*Check"):
        _asked(wire)
    wire.close()
    wire = open_wire(bench.address)
    wire.send(b"TWO?\n")
    assert wire.receive(1.0) == b"two"
    bench.line.gone = True
    with pytest.raises(LinkRefused, match=r"127\.0\.0\.1.*Check"):
        open_wire(bench.address)


def _asked(wire: Wire) -> bytes:
    wire.send(b"ONE?\n")
    return wire.receive(1.0)


def link(bench: Bench, fault: str = "") -> Link:
    bench.open(fault, 2 if fault else 0)  # the first message asks who it is
    bench.line._device.replies["*IDN?"] = "parrot"  # type: ignore[attr-defined]
    made = Link(lambda: open_wire(bench.address), bench.address, timeout_s=2.0)
    assert made.identify() == "parrot"
    return made


def test_a_query_waits_its_whole_time_and_not_longer(bench: Bench) -> None:
    looks: list[float] = []
    made = link(bench, "late")
    made.on_wait = lambda: looks.append(bench.clock.now())
    assert made.query("ONE?") == "one"
    assert len(looks) >= 2  # orders are looked at meanwhile
    for fault in ("mute", "byte by byte") if bench.transport in ("socket", "serial") else ("mute",):
        made = link(bench, fault)
        began = bench.clock.now()
        with pytest.raises(LinkTimeout, match=r"no answer within 1 s at 'ONE\?'"):
            made.query("ONE?", 1.0)
        assert 0.95 < bench.clock.now() - began < 1.3


def test_an_order_to_end_is_obeyed_while_a_query_waits(bench: Bench) -> None:
    class Ended(Exception):
        pass

    def end() -> None:
        if bench.clock.now() > began + 0.5:
            raise Ended

    made = link(bench, "mute")
    began = bench.clock.now()
    made.on_wait = end
    with pytest.raises(Ended):
        made.query("ONE?", 30.0)
    assert bench.clock.now() - began < 1.0


def test_whoever_answers_by_another_name_is_not_believed_again(bench: Bench) -> None:
    """After a time-out the answers may be out of step: only its own name brings it back."""
    made = link(bench, "mute once")
    with pytest.raises(LinkTimeout):
        made.query("ONE?", 0.5)
    assert made.query("TWO?", 1.0) == "two"
    made = link(bench, "mute once")
    with pytest.raises(LinkTimeout):
        made.query("ONE?", 0.5)
    bench.line._device.replies["*IDN?"] = "impostor"  # type: ignore[attr-defined]
    with pytest.raises(LinkTimeout, match="does not answer any more"):
        made.query("TWO?", 1.0)
