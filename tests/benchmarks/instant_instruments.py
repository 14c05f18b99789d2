"""A source and a voltmeter that answer at once, in a process of their own: what is left is the cost of the client.

python -m tests.benchmarks.instant_instruments      prints {"source": ADDR, "voltmeter": ADDR, ...}
"""

from __future__ import annotations

import contextlib
import itertools
import json
import socket
import threading


class InstantInstrument:
    """Answers every unit of a message from a table; settings are kept as texts."""

    def __init__(self, name: str, fixed: dict[str, str], settings: dict[str, str]) -> None:
        self._answers = {
            "*IDN?": name, "*OPC?": "1", ":SYST:ERR?": '0,"No error"', "SYST:ERR?": '0,"No error"', **fixed,
        }  # fmt: skip
        self._settings = settings
        self.alternates = False  # each reading has the other sign: a current that is reversed
        self.last_step = b""

    def process(self, message: str) -> str:
        """The reply, empty where there is none."""
        step, self.last_step = self.last_step, b""
        if step.startswith(b":SOUR:CURR "):  # the level of the last step that was answered by heart
            self._settings[":SOUR:CURR"] = step.split(b";")[0].split()[1].decode("ascii")
        replies = []
        for unit in message.split(";"):
            if unit in self._answers:
                replies.append(self._answers[unit])
            elif unit.endswith("?"):
                if unit[:-1] in self._settings:
                    replies.append(self._settings[unit[:-1]])
                else:
                    replies.append('-113,"Undefined header"')
            else:
                header, _, value = unit.partition(" ")
                self._settings[header] = {"ON": "1", "OFF": "0"}.get(value, value)
        return ";".join(replies)


def instant_instruments() -> dict[str, InstantInstrument]:
    """Source, voltmeter, and a second voltmeter that reads the current."""
    source = InstantInstrument(
        "Instant source",
        {":STAT:QUES:COND?": "0"},
        {":SOUR:CURR": "0", ":OUTP": "0", ":SOUR:VOLT:LIM": "1", ":SOUR:CURR:RANG": "1"},
    )
    voltmeter = InstantInstrument(
        "Instant voltmeter",
        {":READ?": "+1.23456789E-06"},
        {":SENS:VOLT:DC:NPLC": "1", ":SENS:VOLT:DC:RANG": "1"},
    )
    second = InstantInstrument("Instant ammeter", {":READ?": "+1.0E-03"}, dict(voltmeter._settings))
    second.alternates = True
    return {"source": source, "voltmeter": voltmeter, "current_voltmeter": second}


def _answer(connection: socket.socket, instrument: InstantInstrument) -> None:
    """Blocking, one thread a client: the quickest that Python has."""
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    steps: dict[bytes, bytes] = {}  # what only sets a level or reads always answers the same
    rest = b""
    signs = itertools.cycle((b"+1.0E-03\n", b"-1.0E-03\n"))
    with contextlib.suppress(OSError), connection:
        while data := connection.recv(65536):
            known = None if rest else steps.get(data)
            if instrument.alternates and data == b":READ?\n":
                known = next(signs)
            if known is not None:
                connection.sendall(known)
                instrument.last_step = data
                continue
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                reply = instrument.process(line.decode("ascii").strip())
                if not reply:
                    continue
                answer = reply.encode("ascii") + b"\n"
                connection.sendall(answer)
                if len(lines) == 1 and not rest and line.startswith((b":SOUR:CURR ", b":READ?")):
                    steps[data] = answer


def _accept(listener: socket.socket, instrument: InstantInstrument) -> None:
    while True:
        connection, _ = listener.accept()
        threading.Thread(target=_answer, args=(connection, instrument), daemon=True).start()


def serve() -> None:
    """The instruments until the process is ended."""
    addresses = {}
    for role, instrument in instant_instruments().items():
        listener = socket.create_server(("127.0.0.1", 0))
        addresses[role] = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
        threading.Thread(target=_accept, args=(listener, instrument), daemon=True).start()
    print(json.dumps(addresses), flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        serve()
