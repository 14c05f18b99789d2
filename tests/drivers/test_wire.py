"""A query has one deadline and one length, whatever an instrument sends; orders are looked at meanwhile."""

from __future__ import annotations

import contextlib
import itertools
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from drivers.dialect import load_dialect
from drivers.errors import InstrumentError, LinkTimeout, ReplyError
from drivers.link import Link
from drivers.registry import make_link

Sender = Callable[[socket.socket], None]


def flood(connection: socket.socket) -> None:
    while True:
        connection.sendall(b"9" * 4096)


def empty_lines(connection: socket.socket) -> None:
    while True:
        connection.sendall(b"\n" * 4096)


def drip(connection: socket.socket) -> None:
    while True:
        connection.sendall(b"9")
        time.sleep(0.05)


@pytest.fixture
def link() -> Iterator[Callable[[Sender], Link]]:
    """A link to an instrument that answers the first message with what the sender sends."""
    made: list[Link] = []
    listener = socket.create_server(("127.0.0.1", 0))

    def connect(sender: Sender) -> Link:
        def serve() -> None:
            with contextlib.suppress(OSError):
                connection, _ = listener.accept()
                with connection:
                    connection.recv(100)
                    sender(connection)

        threading.Thread(target=serve, daemon=True).start()
        address = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
        made.append(make_link(address, load_dialect("scpi", "source")))
        return made[-1]

    yield connect
    for one in made:
        one.close()
    listener.close()


@pytest.mark.parametrize("sender", [flood, empty_lines, drip])
@pytest.mark.parametrize("block", [False, True])
def test_a_query_ends_in_time_and_looks_at_the_orders(
    link: Callable[[Sender], Link], sender: Sender, block: bool
) -> None:
    one = link(sender)
    looks: list[float] = []
    one.on_wait = lambda: looks.append(time.monotonic())
    began = time.monotonic()
    with pytest.raises((LinkTimeout, ReplyError)) as raised:
        (one.query_block if block else one.query)("V?", 1.0)
    took = time.monotonic() - began
    assert took < 1.5
    assert raised.value.command == "V?"
    assert raised.value.remedy
    if sender is drip and not block:
        assert len(looks) >= 8
        assert max(b - a for a, b in itertools.pairwise(looks)) < 0.2


def test_an_order_ends_the_wait_for_what_drips(link: Callable[[Sender], Link]) -> None:
    class Stop(Exception):
        pass

    def stop() -> None:
        raise Stop

    one = link(drip)
    one.on_wait = stop
    began = time.monotonic()
    with pytest.raises(Stop):
        one.query("V?", 8.0)
    assert time.monotonic() - began < 0.5


def test_what_comes_over_a_serial_line_in_pieces_is_kept() -> None:
    controller, terminal = os.openpty()
    name = os.ttyname(terminal)

    def slow() -> None:
        os.read(controller, 100)
        for piece in (b"+1.2", b"3456", b"E-3\n"):
            time.sleep(0.13)
            os.write(controller, piece)

    threading.Thread(target=slow, daemon=True).start()
    one = make_link(f"ASRL{name}::INSTR", load_dialect("scpi", "source"))
    try:
        assert one.query("V?", 2.0) == "+1.23456E-3"
        with pytest.raises(InstrumentError):
            one.query("V?", 0.3)
    finally:
        one.close()
        os.close(controller)
        os.close(terminal)
