"""A second pair of instruments, written apart from `sim` so that the drivers do not learn one parser.

They answer with CR LF, know other error codes (the class is right, the number is not), drop a message at its first bad
unit, spell compliance in their own way and answer Booleans with ON and OFF; the voltmeter knows seconds only.
"""

from __future__ import annotations

import contextlib
import random
import re
import socket
import threading
import time
from collections.abc import Callable


class OddCircuit:
    """A resistor, an EMF that drifts, and the current that flows since when."""

    def __init__(self, resistance_ohm: float = 4.7e-4, seed: int = 5) -> None:
        self.resistance_ohm = resistance_ohm
        self.noise = random.Random(seed)
        self.start = time.monotonic()
        self.current_A = 0.0

    def voltage_V(self) -> float:
        emf = 3e-6 + 2e-7 * (time.monotonic() - self.start)
        return self.resistance_ohm * self.current_A + emf + self.noise.gauss(0, 2e-8)


class OddInstrument:
    """Shared parser: a table of regular expressions instead of a header tree."""

    def __init__(self, name: str, circuit: OddCircuit) -> None:
        self.circuit = circuit
        self.errors: list[str] = ["+101,Power was lost; settings, all, are default"]
        self.table: list[tuple[str, Callable[[re.Match[str]], str | None]]] = [
            (r"\*IDN\?", lambda m: f"{name}, 7; rev 2"),
            (r"\*OPC\?", lambda m: "+1"),
            (r"\*CLS", lambda m: self.errors.clear()),
            (r":?SYST(EM)?:ERR(OR)?\?", self._error),
        ]

    def _error(self, match: re.Match[str]) -> str:
        return self.errors.pop(0) if self.errors else "+0,No error"

    def process(self, message: str) -> str | None:
        actions = []
        for unit in message.split(";"):
            text = unit.strip().upper()
            found = ((re.fullmatch(pattern, text), action) for pattern, action in self.table)
            hit = next(((match, action) for match, action in found if match), None)
            if hit is None:
                self.errors.append("-110,Header not understood; whole message dropped")
                return None
            actions.append(hit)
        replies = [reply for match, action in actions if (reply := action(match)) is not None]
        return ";".join(replies) if replies else None


class OddSource(OddInstrument):
    def __init__(self, circuit: OddCircuit) -> None:
        super().__init__("Odd source", circuit)
        self.level = 0.0
        self.compliance = 0.1
        self.output = False
        number = r"([-+.\dE]+)"
        self.table += [
            (rf":?SOUR:CURR {number}", self._level),
            (r":?SOUR:CURR\?", lambda m: f"{self.level:+.7E}"),
            (rf":?SENS:VOLT:PROT {number}", self._compliance),
            (r":?SENS:VOLT:PROT\?", lambda m: f"{self.compliance:+.4E}"),
            (r":?SENS:VOLT:PROT:TRIP\?", lambda m: "ON" if self.limiting else "OFF"),
            (r":?OUTP (ON|OFF|1|0)", self._output),
            (r":?OUTP\?", lambda m: "ON" if self.output else "OFF"),
        ]

    @property
    def limiting(self) -> bool:
        return self.output and abs(self.level) * (self.circuit.resistance_ohm + 0.05) > self.compliance

    def _level(self, match: re.Match[str]) -> None:
        self.level = float(match[1])
        self._apply()

    def _compliance(self, match: re.Match[str]) -> None:
        if float(match[1]) > 5:
            self.errors.append("-203,Too much")
        else:
            self.compliance = float(match[1])

    def _output(self, match: re.Match[str]) -> None:
        self.output = match[1] in ("ON", "1")
        self._apply()

    def _apply(self) -> None:
        self.circuit.current_A = self.level if self.output else 0.0


class OddVoltmeter(OddInstrument):
    def __init__(self, circuit: OddCircuit) -> None:
        super().__init__("Odd voltmeter", circuit)
        self.aperture = 0.1
        self.range = 1.0
        self.table += [
            (r":?SENS:VOLT:DC:APER ([-+.\dE]+)", self._aperture),
            (r":?SENS:VOLT:DC:APER\?", lambda m: f"{self.aperture:+.5E}"),
            (r":?SENS:VOLT:DC:RANG ([-+.\dE]+)", self._range),
            (r":?SENS:VOLT:DC:RANG\?", lambda m: f"{self.range:+.3E}"),
            (r":?READ\?", self._read),
        ]

    def _aperture(self, match: re.Match[str]) -> None:
        self.aperture = float(match[1])

    def _range(self, match: re.Match[str]) -> None:
        self.range = next(r for r in (0.003, 0.03, 0.3, 3.0) if r >= float(match[1]))

    def _read(self, match: re.Match[str]) -> str:
        time.sleep(self.aperture)
        value = self.circuit.voltage_V()
        return f"{value if abs(value) <= self.range else 9.9e37:+.8E}"


class OddServer:
    """One odd instrument on a loopback port; one client at a time."""

    def __init__(self, instrument: OddInstrument) -> None:
        self._instrument = instrument
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._client: socket.socket | None = None
        self.address = f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                self._client, _ = self._listener.accept()
                with self._client, contextlib.suppress(ConnectionError):
                    for line in self._client.makefile("r", newline="\n"):
                        reply = self._instrument.process(line.strip())
                        if reply is not None:
                            self._client.sendall(f"{reply}\r\n".encode("ascii"))

    def close(self) -> None:
        for sock in (self._listener, self._client):
            if sock is not None:
                with contextlib.suppress(OSError):
                    sock.shutdown(socket.SHUT_RDWR)
                sock.close()
        self._thread.join(5)


class OddBench:
    """Source and voltmeter over one circuit; a context manager."""

    def __enter__(self) -> OddBench:
        circuit = OddCircuit()
        self.source, self.voltmeter = OddSource(circuit), OddVoltmeter(circuit)
        self._servers = [OddServer(self.source), OddServer(self.voltmeter)]
        self.source_address, self.voltmeter_address = (server.address for server in self._servers)
        return self

    def __exit__(self, *_: object) -> None:
        for server in self._servers:
            server.close()
