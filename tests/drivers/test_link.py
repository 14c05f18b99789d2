import socket
import time
from collections import deque

import pytest

from drivers.dialect.pattern import LONGEST_REPLY
from drivers.errors import AddressError, LinkRefused, LinkTimeout, ReplyError
from drivers.link import Habits, Link
from drivers.wires import open_wire


class ScriptedWire:
    """Answers from a script: each sent message gives the listed replies; None is an answer that comes too late."""

    def __init__(self, script: dict[str, list[str | None]]) -> None:
        self.script = script
        self.sent: list[str] = []
        self.waiting: deque[str] = deque()
        self.late: deque[str] = deque()
        self.waited_s = 0.0
        self.closed = False

    def send(self, data: bytes) -> None:
        message = data.decode().strip()
        self.sent.append(message)
        self.waiting.extend(self.late)
        self.late.clear()
        for reply in self.script.get(message, []):
            if reply is None:
                self.late.append(f"late answer to {message}")
            else:
                self.waiting.append(reply)

    def receive(self, timeout_s: float) -> bytes:
        if self.waiting:
            return self.waiting.popleft().encode()
        self.waited_s += timeout_s
        raise TimeoutError

    def sleep(self, seconds: float) -> None:
        pass

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        raise TimeoutError

    def clear(self) -> None:
        self.waiting.clear()

    def close(self) -> None:
        self.closed = True


def test_after_a_time_out_a_late_answer_is_never_taken_for_the_next() -> None:
    wire = ScriptedWire({"*IDN?": ["me"], "SLOW?": [None], "CURR?": ["0.5"]})
    link = Link(lambda: wire, "here")
    link.identify()
    with pytest.raises(LinkTimeout, match=r"here: no answer within 2 s at 'SLOW\?'"):
        link.query("SLOW?")
    assert link.query("CURR?") == "0.5"


def test_a_silent_instrument_is_opened_again_and_then_given_up() -> None:
    first, second = ScriptedWire({"*IDN?": ["me"]}), ScriptedWire({})
    wires = iter([first, second])
    link = Link(lambda: next(wires), "here")
    link.identify()
    first.script.clear()
    with pytest.raises(LinkTimeout, match="no answer within"):
        link.query("CURR?")
    assert not first.closed
    with pytest.raises(LinkTimeout, match="does not answer any more"):
        link.query("CURR?")
    assert first.closed
    assert second.sent == ["*IDN?"]


def test_a_wait_is_sliced_and_can_be_ended() -> None:
    wire = ScriptedWire({})
    link = Link(lambda: wire, "here", timeout_s=60.0)

    def end() -> None:
        raise KeyboardInterrupt

    link.on_wait = end
    with pytest.raises(KeyboardInterrupt):
        link.query("CURR?")
    assert wire.waited_s <= 0.1


def test_the_transcript_holds_both_directions() -> None:
    lines: list[tuple[str, str, str]] = []
    link = Link(lambda: ScriptedWire({"A?": ["1"]}), "here", transcript=lambda *line: lines.append(line))
    link.query("A?")
    assert lines == [("here", ">", "A?"), ("here", "<", "1")]


def test_nobody_at_the_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkRefused, match="Check that the instrument is on"):
        open_wire(f"TCPIP::127.0.0.1::{port}::SOCKET")


@pytest.mark.parametrize("address", ["", "nonsense", "TCPIP::127.0.0.1::99999::SOCKET", "127.0.0.1:5025"])
def test_what_is_no_address_says_how_one_looks(address: str) -> None:
    with pytest.raises(AddressError, match="Write"):
        open_wire(address)


def test_what_must_not_wait_is_sent_before_the_link_is_in_step_again() -> None:
    wire = ScriptedWire({"*IDN?": ["me"], "SLOW?": [None], "OUTP?": ["0"]})
    link = Link(lambda: wire, "here")
    link.identify()
    with pytest.raises(LinkTimeout):
        link.query("SLOW?")
    waited_s = wire.waited_s
    link.write("OUTP OFF", at_once=True)
    assert wire.sent[-1] == "OUTP OFF"
    assert wire.waited_s == waited_s
    assert link.query("OUTP?") == "0"


class BlockWire(ScriptedWire):
    """Gives the bytes that it holds."""

    def __init__(self, data: bytes) -> None:
        super().__init__({})
        self.data = data

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        if len(self.data) < count:
            raise TimeoutError
        part, self.data = self.data[:count], self.data[count:]
        return part

    def receive(self, timeout_s: float) -> bytes:
        return b""


def test_a_block_is_taken_up_to_the_longest_reply() -> None:
    longest = b"#5%05d" % LONGEST_REPLY + b"x" * LONGEST_REPLY
    assert Link(lambda: BlockWire(longest), "here").query_block("DATA?") == b"x" * LONGEST_REPLY
    assert Link(lambda: BlockWire(b"#13abc"), "here").query_block("DATA?") == b"abc"
    for head in (b"#5%05d" % (LONGEST_REPLY + 1), b"#0abc", b"1.23", b"#x1", b"#2-1"):
        with pytest.raises(ReplyError, match=r"begins no block that is taken at 'DATA\?'"):
            Link(lambda head=head: BlockWire(head + b"x" * 70000), "here").query_block("DATA?")  # type: ignore[misc]
    with pytest.raises(LinkTimeout, match="no whole block within 2 s"):
        Link(lambda: BlockWire(b"#15ab"), "here").query_block("DATA?")


class SleepingWire(ScriptedWire):
    """Sleeps for real, and notes when it was sent to."""

    def __init__(self) -> None:
        super().__init__({"A?": ["1"]})
        self.sent_s: list[float] = []

    def send(self, data: bytes) -> None:
        self.sent_s.append(time.monotonic())
        super().send(data)

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


def test_between_two_messages_lies_the_gap_that_the_instrument_needs() -> None:
    wire = SleepingWire()
    link = Link(lambda: wire, "here", habits=Habits(command_gap_s=0.03))
    for _ in range(3):
        link.query("A?")
    assert min(b - a for a, b in zip(wire.sent_s, wire.sent_s[1:], strict=False)) >= 0.029
    assert wire.sent_s[-1] - wire.sent_s[0] < 0.5


def test_a_pause_shows_life_in_every_slice() -> None:
    link = Link(lambda: ScriptedWire({}), "here")
    looks: list[int] = []
    link.on_wait = lambda: looks.append(1)
    for seconds, count in ((0.05, 0), (0.1, 0), (0.35, 3)):
        looks.clear()
        link.pause(seconds)
        assert len(looks) == count


def test_messages_are_encoded_once_and_the_store_is_bounded() -> None:
    link = Link(lambda: ScriptedWire({}), "here")
    link.write("A?")
    link.write("B?")
    assert set(link._encoded) == {"A?", "B?"}
    for k in range(1000):
        link.write(f"I {k}")
        assert len(link._encoded) < 300


class TricklingWire(ScriptedWire):
    """An empty line every 50 ms."""

    def __init__(self) -> None:
        super().__init__({})

    def receive(self, timeout_s: float) -> bytes:
        time.sleep(0.05)
        return b""


def test_empty_lines_do_not_stretch_the_deadline() -> None:
    began = time.monotonic()
    with pytest.raises(LinkTimeout):
        Link(TricklingWire, "here").query("A?", 0.4)
    assert time.monotonic() - began < 0.7


class HastyWire(ScriptedWire):
    """Two empty lines, then the answer; notes whether it was cleared."""

    def __init__(self, *lines: bytes | Exception) -> None:
        super().__init__({})
        self.lines = list(lines)
        self.cleared = 0

    def receive(self, timeout_s: float) -> bytes:
        if timeout_s <= 0 or not self.lines:
            raise TimeoutError
        line = self.lines.pop(0)
        if isinstance(line, Exception):
            raise line
        return line

    def clear(self) -> None:
        self.cleared += 1


def test_empty_lines_before_an_answer_are_passed_over() -> None:
    assert Link(lambda: HastyWire(b"", b"\r", b"1.5"), "here").query("A?", 0.5) == "1.5"


def test_after_an_answer_that_was_no_answer_the_link_is_brought_into_step() -> None:
    too_long = ReplyError("too long", resource="here", command="", remedy="")
    wire = HastyWire(b"me", too_long, b"me", b"2.5")
    link = Link(lambda: wire, "here")
    link.identify()
    with pytest.raises(ReplyError, match="too long"):
        link.query("A?")
    assert link.query("B?") == "2.5"
    assert wire.cleared == 1
    assert wire.sent == ["*IDN?", "A?", "*IDN?", "B?"]


def test_after_a_block_that_was_none_the_link_is_brought_into_step() -> None:
    class Wire(HastyWire):
        def receive_bytes(self, count: int, timeout_s: float) -> bytes:
            return b"ER"[:count]

    wire = Wire(b"me", b"me", b"2.5")
    link = Link(lambda: wire, "here")
    link.identify()
    with pytest.raises(ReplyError, match="begins no block"):
        link.query_block("A?")
    assert link.query("B?") == "2.5"
    assert wire.sent == ["*IDN?", "A?", "*IDN?", "B?"]
