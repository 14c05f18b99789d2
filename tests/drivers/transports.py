"""Small VXI-11 and HiSLIP servers and a serial line, each with one instrument behind, for the drivers to talk to.

VXI-11: VXIbus TCP/IP instrument protocol on ONC RPC (RFC 1057), core channel only. HiSLIP: IVI-6.1, synchronized mode.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import struct
import threading
import tty
from collections import deque
from collections.abc import Callable

Process = Callable[[str], str | None]
_IO_TIMEOUT = 15
_END = 4


class _Server:
    """A listener whose connections are served in threads."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._sockets: list[socket.socket] = [self._listener]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                self._sockets.append(client)
                threading.Thread(target=self._guarded, args=(client,), daemon=True).start()

    def _guarded(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError, EOFError, struct.error):
            self.serve(client)

    def serve(self, client: socket.socket) -> None:
        raise NotImplementedError

    def close(self) -> None:
        for sock in self._sockets:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            sock.close()


def _exactly(sock: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        part = sock.recv(count - len(data))
        if not part:
            raise EOFError
        data += part
    return data


class Vxi11Server(_Server):
    """create_link, device_write, device_read, device_readstb, device_clear, destroy_link."""

    def __init__(self, process: Process) -> None:
        self._process = process
        self._replies: deque[bytes] = deque()
        super().__init__()
        self.address = f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    def serve(self, client: socket.socket) -> None:
        while True:
            (mark,) = struct.unpack(">I", _exactly(client, 4))
            call = _exactly(client, mark & 0x7FFFFFFF)
            xid, _, _, _, _, procedure, _, credentials = struct.unpack(">8I", call[:32])
            arguments = call[32 + credentials + 8 :]
            body = self._run(procedure, arguments)
            reply = struct.pack(">6I", xid, 1, 0, 0, 0, 0) + body
            client.sendall(struct.pack(">I", 0x80000000 | len(reply)) + reply)

    def _run(self, procedure: int, arguments: bytes) -> bytes:
        if procedure == 10:
            return struct.pack(">4I", 0, 1, 0, 65536)
        if procedure == 11:
            *_, length = struct.unpack(">5I", arguments[:20])
            for line in arguments[20 : 20 + length].decode("ascii").splitlines():
                reply = self._process(line.strip())
                if reply is not None:
                    self._replies.append(reply.encode("ascii") + b"\n")
            return struct.pack(">2I", 0, length)
        if procedure == 12:
            if not self._replies:
                return struct.pack(">3I", _IO_TIMEOUT, 0, 0)
            data = self._replies.popleft()
            return struct.pack(">3I", 0, _END, len(data)) + data + b"\0" * (-len(data) % 4)
        if procedure == 13:
            return struct.pack(">2I", 0, 0x10 if self._replies else 0)
        if procedure == 15:
            self._replies.clear()
        return struct.pack(">I", 0)


class HislipServer(_Server):
    """Both channels; device clear on the asynchronous one."""

    def __init__(self, process: Process) -> None:
        self._process = process
        super().__init__()
        self.address = f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    def serve(self, client: socket.socket) -> None:
        pending = b""
        while True:
            _, kind, _, parameter, length = struct.unpack("!2sBBIQ", _exactly(client, 16))
            payload = _exactly(client, length)
            if kind == 0:  # Initialize
                self._send(client, 1, 0, 0x01000001)
            elif kind == 17:  # AsyncInitialize
                self._send(client, 18, 0, 0x7878)
            elif kind == 15:  # AsyncMaxMsgSize
                self._send(client, 16, 0, 0, struct.pack("!Q", 1 << 20))
            elif kind in (6, 7):  # Data, DataEnd
                pending += payload
                if kind == 7:
                    self._answer(client, pending, parameter)
                    pending = b""
            elif kind == 8:  # DeviceClearComplete
                self._send(client, 9, 0, 0)
            elif kind == 19:  # AsyncDeviceClear
                self._send(client, 23, 0, 0)
            elif kind == 21:  # AsyncStatusQuery
                self._send(client, 22, 0, 0)

    def _answer(self, client: socket.socket, data: bytes, message: int) -> None:
        for line in data.decode("ascii").splitlines():
            reply = self._process(line.strip())
            if reply is not None:
                self._send(client, 7, 0, message, reply.encode("ascii") + b"\n")

    def _send(self, client: socket.socket, kind: int, control: int, parameter: int, payload: bytes = b"") -> None:
        client.sendall(struct.pack("!2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload)


class SerialLine:
    """A pseudo-terminal with an instrument at its far end."""

    def __init__(self, process: Process) -> None:
        self._process = process
        self._far, near = os.openpty()
        tty.setraw(near)
        tty.setraw(self._far)
        self._near = near
        self.address = f"ASRL{os.ttyname(near)}::INSTR"
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        buffer = b""
        while not self._stop.is_set():
            if not select.select([self._far], [], [], 0.1)[0]:
                continue
            with contextlib.suppress(OSError):
                buffer += os.read(self._far, 4096)
            *lines, buffer = buffer.split(b"\n")
            for line in lines:
                reply = self._process(line.decode("ascii").strip())
                if reply is not None:
                    os.write(self._far, reply.encode("ascii") + b"\n")

    def close(self) -> None:
        self._stop.set()
        self._thread.join(2)
        os.close(self._near)
        os.close(self._far)
