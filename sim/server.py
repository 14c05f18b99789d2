"""Simulated instruments on TCP sockets of this machine, one port an instrument."""

from __future__ import annotations

import contextlib
import re
import socket
import threading

from sim.bench import SimulatedBench
from sim.devices.faulty import Device, HangUp


class InstrumentServer:
    """One instrument on a loopback port; several clients at a time, one message at a time."""

    def __init__(self, device: Device, host: str = "127.0.0.1") -> None:
        self._device = device
        self._one_at_a_time = threading.Lock()
        self._listener = socket.create_server((host, 0))
        self._clients: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
        self.address = "TCPIP::{}::{}::SOCKET".format(*self._listener.getsockname()[:2])
        self._start(self._accept)

    def close(self) -> None:
        """Hang up on every client and stop listening."""
        for sock in [self._listener, *self._clients]:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            sock.close()
        for thread in self._threads:
            thread.join(5)

    def _start(self, target: object, *arguments: object) -> None:
        thread = threading.Thread(target=target, args=arguments, daemon=True)  # type: ignore[arg-type]  # a method
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            if getattr(self._device, "one_client", False) and self._clients:
                client.close()
                continue
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._clients.add(client)
            self._start(self._serve, client)

    def _serve(self, client: socket.socket) -> None:
        buffer = b""
        with contextlib.suppress(OSError, HangUp):
            while data := client.recv(65536):
                *lines, buffer = re.split(rb"[\r\n]+", buffer + data)
                for line in lines:
                    if not line.strip():
                        continue
                    with self._one_at_a_time:
                        reply = self._device.process(line.decode("ascii", "replace").strip())
                    if reply is not None:
                        client.sendall((reply + self._device.reply_end).encode("latin-1"))
        self._clients.discard(client)
        client.close()


class BenchServer:
    """The instruments of a bench on sockets; a context manager."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._servers = [InstrumentServer(bench.source_faults), InstrumentServer(bench.voltmeter_faults)]
        self.source, self.voltmeter = (server.address for server in self._servers)
        self.current_voltmeter = ""  # the address of the second voltmeter, where the bench has one
        if bench.current_voltmeter is not None:
            self._servers.append(InstrumentServer(bench.current_voltmeter))
            self.current_voltmeter = self._servers[-1].address
        self.polarity_switch = ""
        if bench.polarity_switch is not None:
            self._servers.append(InstrumentServer(bench.polarity_switch))
            self.polarity_switch = self._servers[-1].address
        self.scanner = ""
        if bench.scanner is not None:
            self._servers.append(InstrumentServer(bench.scanner))
            self.scanner = self._servers[-1].address
        self.thermometer = ""
        self.thermometer_dialect = "scpi"
        if bench.thermometer_inside:
            self.thermometer, self.thermometer_dialect = self.voltmeter, "second_input"
        elif bench.thermometer is not None:
            self._servers.append(InstrumentServer(bench.thermometer))
            self.thermometer = self._servers[-1].address

    def __enter__(self) -> BenchServer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close all."""
        for server in self._servers:
            server.close()
