"""Twelve odd instruments of our own, eight sources and four voltmeters, each with the dialect file that speaks to it.

Behind each stands the simulated instrument of a bench; what is odd is how it is connected and what it understands. The
dialects were written from `instruments talk --plain` and the guide, as a user would.
"""

from __future__ import annotations

import contextlib
import re
import socket
import struct
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from sim.bench import SimulatedBench

Ask = Callable[[str], str]
Answer = Callable[[str], bytes | None]  # a message without its end; the answer with its end, or nothing


@dataclass(frozen=True, slots=True)
class Oddity:
    """How an instrument is connected: line end, greeting, a connection an exchange, talk without a question."""

    make: Callable[[Ask], Answer]
    dialect: str
    end: bytes = b"\n"
    greeting: bytes = b""
    hangs_up: bool = False
    talks: bool = False


class OddServer:
    """One of them on a port of this machine. A context."""

    def __init__(self, oddity: Oddity, bench: SimulatedBench, role: str) -> None:
        device = bench.source if role == "source" else bench.voltmeter
        self._lock = threading.Lock()

        def ask(message: str) -> str:
            with self._lock:
                return device.process(message) or ""

        self._oddity, self._answer, self._ask = oddity, oddity.make(ask), ask
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self) -> OddServer:
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        odd, buffer = self._oddity, b""
        with contextlib.suppress(OSError), client:
            client.sendall(odd.greeting)
            if odd.talks:
                while True:
                    client.sendall(self._answer("") or b"")
            while data := client.recv(4096):
                *lines, buffer = (buffer + data).split(odd.end)
                for line in lines:
                    text = line.decode("ascii", "replace").strip()
                    answer = self._answer(text) if text else None
                    if answer is not None:
                        client.sendall(answer)
                    if odd.hangs_up and text:
                        return


@dataclass
class Words:
    """Patterns and what they do; the first that matches a message counts."""

    rules: list[tuple[str, Callable[[re.Match[str]], str | None]]] = field(default_factory=list)
    end: str = "\n"

    def __call__(self, message: str) -> bytes | None:
        for pattern, act in self.rules:
            match = re.fullmatch(pattern, message)
            if match is not None:
                answer = act(match)
                return None if answer is None else (answer + self.end).encode("latin-1")
        return None


_N = r"([-+]?[0-9.]+(?:E[-+]?\d+)?)"


def _set(ask: Ask, form: str, scale: float = 1.0) -> Callable[[re.Match[str]], str | None]:
    def act(match: re.Match[str]) -> str | None:
        ask(form.format(float(match[1]) * scale))
        return None

    return act


def _said(ask: Ask, message: str) -> Callable[[re.Match[str]], str | None]:
    def act(_: re.Match[str]) -> str | None:
        ask(message)
        return None

    return act


def _asked(ask: Ask, query: str, form: Callable[[float], str]) -> Callable[[re.Match[str]], str | None]:
    return lambda _: form(float(ask(query)))


def channels(ask: Ask) -> Answer:
    """A channel behind each value, a unit in each answer."""
    return Words([
        (r"ID\?", lambda _: "CHANNEL BOX"),
        (rf"AMP {_N},\(@1\)", _set(ask, ":SOUR:CURR {:.9E}")),
        (r"AMP\? \(@1\)", _asked(ask, ":SOUR:CURR?", lambda x: f"{x:+.6f} A")),
        (rf"VMAX {_N} V,\(@1\)", _set(ask, ":SOUR:VOLT:LIM {:.6E}")),
        (r"VMAX\? \(@1\)", _asked(ask, ":SOUR:VOLT:LIM?", lambda x: f"{x:.4f} V")),
        (r"GATE OPEN", _said(ask, ":OUTP ON")),
        (r"GATE SHUT", _said(ask, ":OUTP OFF")),
        (r"GATE\?", _asked(ask, ":OUTP?", lambda x: "OPEN" if x else "SHUT")),
    ])  # fmt: skip


_CHANNELS = """kind = "source"
identify = { query = "ID?" }
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false }
sequence = { safe = ["GATE SHUT"] }
cap.level = { set = "AMP {value},(@1)", get = "AMP? (@1)", reply = "{value} A", atol = 1e-6 }
cap.compliance = { set = "VMAX {value} V,(@1)", get = "VMAX? (@1)", reply = "{value} V" }
cap.output = { kind = "bool", on_set = "GATE OPEN", off_set = "GATE SHUT", get = "GATE?", on = "OPEN", off = "SHUT" }
"""


def converter(ask: Ask) -> Answer:
    """Its level is a count of 32,000 for the range in use; ranges by number."""
    ranges, now = (0.1, 1.0, 10.0), [2]

    def choose(match: re.Match[str]) -> str | None:
        now[0] = int(match[1])
        return None

    def count(match: re.Match[str]) -> str | None:
        ask(f":SOUR:CURR {int(match[1]) / 32000 * ranges[now[0]]:.9E}")
        return None

    return Words([
        (r"\*IDN\?", lambda _: "CONVERTER 16"),
        (r"RANGE (\d)", choose),
        (r"RANGE\?", lambda _: str(now[0])),
        (r"DAC ([-+]?\d+)", count),
        (r"DAC\?", lambda _: str(round(float(ask(":SOUR:CURR?")) / ranges[now[0]] * 32000))),
        (rf"LIMIT {_N}", _set(ask, ":SOUR:VOLT:LIM {:.6E}")),
        (r"LIMIT\?", _asked(ask, ":SOUR:VOLT:LIM?", lambda x: f"{x:.3f}")),
        (r"RELAY ([01])", lambda m: _said(ask, f":OUTP {m[1]}")(m)),
        (r"RELAY\?", lambda _: ask(":OUTP?")),
    ])  # fmt: skip


_CONVERTER = """kind = "source"
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false }
sequence = { safe = ["RELAY 0"] }
cap.range = { kind = "index", table = [0.1, 1.0, 10.0], set = "RANGE {value}", get = "RANGE?" }
cap.level = { set = "DAC {value}", get = "DAC?", counts = 32000 }
cap.compliance = { set = "LIMIT {value}", get = "LIMIT?", atol = 0.001 }
cap.output = { kind = "bool", set = "RELAY {value}", get = "RELAY?", on = "1", off = "0" }
"""


def padded(ask: Ask) -> Answer:
    """Eleven characters a number, sign and zeros included, no space before it, a letter that executes; CR."""
    number = r"([-+]\d{4}\.\d{5})"
    return Words([
        (r"U0X", lambda _: "PADDED CALIBRATOR 7"),
        (rf"I{number}X", _set(ask, ":SOUR:CURR {:.9E}")),
        (r"U1X", _asked(ask, ":SOUR:CURR?", lambda x: f"I{x:+011.5f}")),
        (rf"V{number}X", _set(ask, ":SOUR:VOLT:LIM {:.6E}")),
        (r"U2X", _asked(ask, ":SOUR:VOLT:LIM?", lambda x: f"V{x:+011.5f}")),
        (r"F([01])X", lambda m: _said(ask, f":OUTP {m[1]}")(m)),
        (r"U3X", lambda _: "F" + ask(":OUTP?")),
    ], "\r")  # fmt: skip


_PADDED = """kind = "source"
identify = { query = "U0X" }
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false, write_termination = "\\r", read_termination = "\\r" }
format = { style = "F", digits = 5, plus = true, width = 11 }
sequence = { safe = ["F0X"] }
cap.level = { set = "I{value}X", get = "U1X", reply = "I{value}", atol = 1e-5 }
cap.compliance = { set = "V{value}X", get = "U2X", reply = "V{value}" }
cap.output = { kind = "bool", on_set = "F1X", off_set = "F0X", get = "U3X", reply = "F{value}" }
"""


def stepped(ask: Ask) -> Answer:
    """Three compliances by number; its output is two bits of a status word."""
    steps = (0.5, 2.0, 10.0)
    ask(":SOUR:VOLT:LIM 0.5")

    def limit(match: re.Match[str]) -> str | None:
        ask(f":SOUR:VOLT:LIM {steps[int(match[1]) - 1]}")
        return None

    return Words([
        (r"WHO", lambda _: "STEPPED DRIVER"),
        (rf"MA {_N}", _set(ask, ":SOUR:CURR {:.9E}", 1e-3)),
        (r"MA", _asked(ask, ":SOUR:CURR?", lambda x: f"MA={1000 * x:.4f}")),
        (r"CEIL ([123])", limit),
        (r"CEIL", lambda _: f"CEIL={1 + steps.index(float(ask(':SOUR:VOLT:LIM?')))}"),
        (r"RUN", _said(ask, ":OUTP ON")),
        (r"HALT", _said(ask, ":OUTP OFF")),
        (r"STAT", lambda _: f"STAT={12 if ask(':OUTP?') == '1' else 16}"),
    ])  # fmt: skip


_STEPPED = """kind = "source"
identify = { query = "WHO" }
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false }
sequence = { safe = ["HALT"] }
cap.level = { set = "MA {value}", get = "MA", reply = "MA={value}", scale = 1000, atol = 1e-7 }
cap.output = { kind = "bit", mask = 0x0C, on_set = "RUN", off_set = "HALT", get = "STAT", reply = "STAT={value}" }
[cap.compliance]
kind = "index"
index_base = 1
table = [0.5, 2.0, 10.0]
rounds = "down"
set = "CEIL {value}"
get = "CEIL"
reply = "CEIL={value}"
"""


def fixed(ask: Ask) -> Answer:
    """A compliance of 12 V that its make fixes; every message is acknowledged."""
    ask(":SOUR:VOLT:LIM 12")

    def ack(act: Callable[[re.Match[str]], str | None]) -> Callable[[re.Match[str]], str | None]:
        return lambda match: act(match) or "DONE"

    return Words([
        (r"\?", lambda _: "FIXED TWELVE"),
        (rf"={_N}", ack(_set(ask, ":SOUR:CURR {:.9E}"))),
        (r"=\?", _asked(ask, ":SOUR:CURR?", lambda x: f"{x:.6E}")),
        (r"!", ack(_said(ask, ":OUTP ON"))),
        (r"~", ack(_said(ask, ":OUTP OFF"))),
        (r"!\?", _asked(ask, ":OUTP?", lambda x: "lit" if x else "dark")),
        (r".*", lambda _: "HUH"),
    ])  # fmt: skip


_FIXED = """kind = "source"
identify = { query = "?" }
errors = { mode = "reply", reply = "HUH", acknowledges = true }
sync = { mode = "none" }
link = { compound = false }
sequence = { safe = ["~"] }
cap.level = { set = "={value}", get = "=?" }
cap.compliance = { fixed = 12.0 }
cap.output = { kind = "bool", on_set = "!", off_set = "~", get = "!?", on = "lit", off = "dark" }
"""


def polar(ask: Ask) -> Answer:
    """Magnitudes only, and a command for the sign."""
    sign, size = [1], [0.0]

    def flow() -> None:
        ask(f":SOUR:CURR {sign[0] * size[0]:.9E}")

    def level(match: re.Match[str]) -> str | None:
        size[0] = float(match[1])
        flow()
        return None

    def turn(match: re.Match[str]) -> str | None:
        sign[0] = 1 if match[1] == "NORM" else -1
        flow()
        return None

    return Words([
        (r"\*IDN\?", lambda _: "POLAR SUPPLY"),
        (r"ISET ([0-9.E+-]+)", level),
        (r"ISET\?", lambda _: f"{size[0]:.6E}"),
        (r"POL (NORM|INV)", turn),
        (r"POL\?", lambda _: "NORM" if sign[0] > 0 else "INV"),
        (rf"VSET {_N}", _set(ask, ":SOUR:VOLT:LIM {:.6E}")),
        (r"VSET\?", _asked(ask, ":SOUR:VOLT:LIM?", lambda x: f"{x:.4f}")),
        (r"OUT (ON|OFF)", lambda m: _said(ask, f":OUTP {m[1]}")(m)),
        (r"OUT\?", lambda _: ask(":OUTP?")),
    ])  # fmt: skip


_POLAR = """kind = "source"
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false }
sequence = { safe = ["OUT OFF"] }
cap.level = { set = "ISET {value}", get = "ISET?" }
cap.polarity = { kind = "bool", on_set = "POL NORM", off_set = "POL INV", get = "POL?", on = "NORM", off = "INV" }
cap.compliance = { set = "VSET {value}", get = "VSET?", atol = 1e-4 }
cap.output = { kind = "bool", set = "OUT {value}", get = "OUT?" }
"""


def scpi(ask: Ask) -> Answer:
    """The standard's words, one unit a message."""

    def act(match: re.Match[str]) -> str | None:
        answer = ask(match[0])
        return answer or None

    return Words([(r".*", act)])


_BRIEF = """kind = "source"
extends = "scpi"
link = { hangs_up = true }
"""


def nameless(ask: Ask) -> Answer:
    """A greeting, microamperes, and no way to ask who it is."""
    return Words([
        (rf"U {_N}", _set(ask, ":SOUR:CURR {:.9E}", 1e-6)),
        (r"U", _asked(ask, ":SOUR:CURR?", lambda x: f"{1e6 * x:.1f}uA")),
        (rf"L {_N}", _set(ask, ":SOUR:VOLT:LIM {:.6E}", 1e-3)),
        (r"L", _asked(ask, ":SOUR:VOLT:LIM?", lambda x: f"{1e3 * x:.1f}mV")),
        (r"G([01])", lambda m: _said(ask, f":OUTP {m[1]}")(m)),
        (r"G", lambda _: "G" + ask(":OUTP?")),
    ])  # fmt: skip


_NAMELESS = """kind = "source"
identify = { query = "" }
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.02 }
link = { compound = false, greeting = true }
format = { style = "F", digits = 3 }
sequence = { safe = ["G0"] }
cap.level = { set = "U {value}", get = "U", reply = "{value}uA", scale = 1e6, atol = 1e-7 }
cap.compliance = { set = "L {value}", get = "L", reply = "{value}mV", scale = 1000, atol = 1e-4 }
cap.output = { kind = "bool", on_set = "G1", off_set = "G0", get = "G", reply = "G{value}" }
"""


def talker(ask: Ask) -> Answer:
    """Sends a reading as soon as it has one."""
    ask(":SENS:VOLT:DC:RANG 0.1")
    ask(":CAL:ZERO:AUTO OFF")
    return lambda _: f"NDC {float(ask(':READ?')):+.8E}\r\n".encode()


_TALKER = """kind = "voltmeter"
identify = { query = "" }
errors = { mode = "none" }
sync = { mode = "none" }
cap.read = { listen = true, reply = "NDC {value}" }
"""


def binary(ask: Ask) -> Answer:
    """The standard's words, readings as blocks of little-endian doubles."""

    def act(message: str) -> bytes | None:
        answer = ask(message)
        if message == ":READ?":
            return b"#18" + struct.pack("<d", float(answer)) + b"\n"
        return (answer + "\n").encode() if answer else None

    return act


_BINARY = """kind = "voltmeter"
extends = "scpi"
link = { compound = false }
cap.read = { get = ":READ?", encoding = "real64-swapped" }
"""


def shouter(ask: Ask) -> Answer:
    """Settings by a letter and a number with an X, spans by number, OVER for an overload."""
    spans = (0.001, 0.01, 0.1, 1.0)

    def span(match: re.Match[str]) -> str | None:
        ask(f":SENS:VOLT:DC:RANG {spans[int(match[1])]}")
        ask(":CAL:ZERO:AUTO OFF")
        return None

    def read(_: re.Match[str]) -> str | None:
        value = float(ask(":READ?"))
        return "V OVER" if value > 1e30 else f"V {value:+.8E} {time.monotonic():.3f}"

    return Words([
        (r"IDX", lambda _: "SHOUTER 4"),
        (r"S(\d)X", span),
        (rf"T{_N}X", _set(ask, ":SENS:VOLT:DC:APER {:.6E}", 1e-3)),
        (r"GX", read),
    ])  # fmt: skip


_SHOUTER = """kind = "voltmeter"
identify = { query = "IDX", reply = "SHOUTER {skip}" }
errors = { mode = "none" }
sync = { mode = "delay", delay_s = 0.005 }
link = { compound = false }
format = { style = "F", digits = 3, overload = ["OVER"] }
cap.aperture = { set = "T{value}X", scale = 1000 }
cap.range = { kind = "index", table = [0.001, 0.01, 0.1, 1.0], set = "S{value}X" }
cap.read = { get = "GX", reply = "V {value} {skip}" }
"""


def slow(ask: Ask) -> Answer:
    """Echoes what it gets, prompts, and answers to a reading in microvolts."""

    def act(message: str) -> bytes | None:
        answer = ask(message)
        if message == ":READ?":
            answer = f"{1e6 * float(answer):+.5f} uV"
        return (message + "\n" + (f"# {answer}\n" if answer else "")).encode()

    return act


_SLOW = """kind = "voltmeter"
extends = "scpi"
link = { compound = false, echo = true, prompt = "# " }
cap.read = { get = ":READ?", reply = "{value} uV", scale = 1e6 }
"""

SOURCES: dict[str, Oddity] = {
    "channels": Oddity(channels, _CHANNELS),
    "converter": Oddity(converter, _CONVERTER),
    "padded": Oddity(padded, _PADDED, end=b"\r"),
    "stepped": Oddity(stepped, _STEPPED),
    "fixed": Oddity(fixed, _FIXED),
    "polar": Oddity(polar, _POLAR),
    "brief": Oddity(scpi, _BRIEF, hangs_up=True),
    "nameless": Oddity(nameless, _NAMELESS, greeting=b"HELLO OPERATOR\n"),
}
VOLTMETERS: dict[str, Oddity] = {
    "talker": Oddity(talker, _TALKER, talks=True),
    "binary": Oddity(binary, _BINARY),
    "shouter": Oddity(shouter, _SHOUTER),
    "slow": Oddity(slow, _SLOW),
}
