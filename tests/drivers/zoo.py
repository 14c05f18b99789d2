"""Instruments to be probed, each odd in another way. `truth` says which capabilities a spelling really works for."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass
class Box:
    """A table of settings by exact header. `wrong` are headers that answer and take values but mean something else."""

    name: str
    settings: dict[str, str]
    errors: str = "queue"  # queue, register, reply, mute
    echo: bool = False
    end: str = "\n"
    compound: bool = True
    prefix: bool = False
    clamp: float = 1.0
    drops_message: bool = False
    range_up: tuple[float, ...] = ()
    identify: str = "*IDN?"
    energised: bool = False
    log: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.queue: deque[str] = deque()
        self.register = 0
        self.start = dict(self.settings)

    def process(self, message: str) -> list[str]:
        self.log.append(message)
        replies = [message] if self.echo else []
        if not self.compound and ";" in message:
            self._refuse(replies)
            return replies
        answers: list[str] = []
        for unit in message.split(";"):
            answer = self._unit(unit.strip())
            if answer is None and self.drops_message and self._failed:
                return replies
            if answer is not None:
                answers.append(answer)
        if answers:
            replies.append(";".join(answers))
        return replies

    def _refuse(self, replies: list[str]) -> None:
        self._failed = True
        if self.errors == "queue":
            self.queue.append('-113,"Undefined header"')
        elif self.errors == "register":
            self.register |= 0x20
        elif self.errors == "reply":
            replies.append("?FAULT")

    def _unit(self, unit: str) -> str | None:
        self._failed = False
        header, _, value = unit.partition(" ")
        header = header.upper()
        if header == self.identify:
            return f"{self.name},0,1"
        if header == "*OPC?" and self.errors != "mute":
            return "1"
        if self.errors == "queue" and header == ":SYST:ERR?":
            return self.queue.popleft() if self.queue else '0,"No error"'
        if self.errors == "register" and header == "*ESR?":
            register, self.register = self.register, 0
            return str(register)
        asked = header.endswith("?")
        key = self._key(header.rstrip("?"))
        if key is None:
            replies: list[str] = []
            self._refuse(replies)
            return replies[0] if replies else None
        if asked:
            return self.settings[key]
        if value:
            self._set(key, value)
        return "OK" if self.errors == "reply" else None

    def _key(self, header: str) -> str | None:
        if header in self.settings:
            return header
        if self.prefix:
            return next((key for key in self.settings if header.startswith(key)), None)
        return None

    def _set(self, key: str, value: str) -> None:
        if key == ":OUTP":
            self.settings[key] = "1" if value.upper() in ("1", "ON") else "0"
            self.energised |= self.settings[key] == "1"
            return
        try:
            number = float(value) * self.clamp
        except ValueError:
            self.settings[key] = value
            return
        if key.endswith("RANG") and self.range_up:
            if f"{key}:AUTO" in self.settings:
                self.settings[f"{key}:AUTO"] = "0"
            number = min((r for r in self.range_up if r >= number * 0.999), default=self.range_up[-1])
        self.settings[key] = f"{number:.6E}" if "E" in self.settings[key] else f"{number:g}"


class BoxWire:
    """A wire to a box in the same process; a wrong line end is never answered."""

    def __init__(self, box: Box, end: str) -> None:
        self._box, self._end = box, end
        self._replies: deque[str] = deque()

    def send(self, data: bytes) -> None:
        text = data.decode("ascii")
        if not text.endswith(self._box.end) or (self._box.end == "\n" and text.endswith("\r\n")):
            return
        self._replies.extend(self._box.process(text.strip("\r\n")))

    def receive(self, timeout_s: float) -> bytes:
        if not self._replies:
            raise TimeoutError
        return self._replies.popleft().encode("ascii")

    def receive_bytes(self, count: int, timeout_s: float) -> bytes:
        raise TimeoutError

    def clear(self) -> None:
        self._replies.clear()

    def sleep(self, seconds: float) -> None:
        pass

    def close(self) -> None:
        pass


def opener(box: Box) -> Callable[[str], BoxWire]:
    """What a probe connects with."""
    return lambda end: BoxWire(box, end)


_SOURCE = {
    ":OUTP": "0",
    ":SOUR:VOLT:LIM": "1.000000E+00",
    ":SOUR:CURR:RANG": "1.000000E+00",
    ":SOUR:CURR": "0.000000E+00",
    ":STAT:QUES:COND": "0",
}
_METER = {
    ":SENS:FUNC": '"VOLT:DC"',
    ":SENS:VOLT:DC:NPLC": "1.000000E+00",
    ":SENS:VOLT:DC:RANG": "1.000000E+01",
    ":SENS:VOLT:DC:RANG:AUTO": "1",
    ":CAL:ZERO:AUTO": "1",
    ":TRIG:SOUR": "IMM",
    ":READ": "1.234567E-06",
}
_RANGES = (0.001, 0.01, 0.1, 1.0, 10.0)


def zoo() -> list[tuple[str, str, Callable[[], Box], set[str]]]:
    """Name, role, how to make it, and the capabilities for which a standard spelling really works."""
    source = {"output", "compliance", "range", "level", "limiting"}
    meter = {"function", "nplc", "range", "autorange", "autozero", "trigger_source", "read"}

    def make(settings: dict[str, str], **flags: object) -> Callable[[], Box]:
        return lambda: Box("box", dict(settings), range_up=_RANGES, **flags)  # type: ignore[arg-type]  # flags of a Box

    two_roles = {**_METER, **_SOURCE, ":SENS:VOLT:PROT": "1.000000E+00"}
    return [
        ("strict source", "source", make(_SOURCE), source),
        ("strict voltmeter", "voltmeter", make(_METER), meter),
        ("register only, source", "source", make(_SOURCE, errors="register"), source),
        ("register only, voltmeter", "voltmeter", make(_METER, errors="register"), meter),
        ("drops messages, CR, echo", "voltmeter", make(_METER, echo=True, end="\r", drops_message=True), meter),
        ("one unit a message, CR LF", "source", make(_SOURCE, compound=False, end="\r\n"), source),
        ("clamps silently", "source", make(_SOURCE, clamp=0.5), {"output", "limiting", "range"}),
        ("mute, matches any prefix", "source", make(_SOURCE, errors="mute", prefix=True), set()),
        ("prefix matcher with a queue", "source", make(_SOURCE, prefix=True), {"limiting"}),
        ("error in place of data", "voltmeter", make(_METER, errors="reply"), meter),
        ("source and meter in one", "voltmeter", make(two_roles), meter),
        ("output on already", "source", make({**_SOURCE, ":OUTP": "1"}), source),
    ]
