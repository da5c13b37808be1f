"""A small KWP2000 client of its own, written from checks section 3 only: serial port, fast start, framing, checksum.

Blocking, in a thread or process of its own; shares no code with the tool or the bench.
"""

from __future__ import annotations

import fcntl
import os
import select
import struct
import termios
import time

TCGETS2, TCSETS2 = 0x802C542A, 0x402C542B
CBAUD, BOTHER = 0x100F, 0x1000


class KLineClient:
    def __init__(self, path: str, target: int = 0x11, tester: int = 0xF1) -> None:
        self.port = os.open(path, os.O_RDWR | os.O_NOCTTY)
        self.target, self.tester = target, tester
        settings = termios.tcgetattr(self.port)
        settings[0] = settings[1] = settings[3] = 0
        termios.tcsetattr(self.port, termios.TCSANOW, settings)
        self.set_baud(10_400)

    def close(self) -> None:
        os.close(self.port)

    def set_baud(self, baud: int) -> None:
        layout = struct.Struct("4I20s2I")
        fields = list(layout.unpack(fcntl.ioctl(self.port, TCGETS2, bytes(layout.size))))
        fields[2] = fields[2] & ~CBAUD | BOTHER
        fields[5] = fields[6] = baud
        fcntl.ioctl(self.port, TCSETS2, layout.pack(*fields))

    def read(self, count: int, limit_s: float = 1.0) -> bytes:
        got = b""
        end = time.monotonic() + limit_s
        while len(got) < count and select.select([self.port], [], [], max(0.0, end - time.monotonic()))[0]:
            got += os.read(self.port, count - len(got))
        return got

    def frame(self, data: bytes, *, functional: bool = False) -> bytes:
        target = 0x33 if functional else self.target
        body = bytes([(0xC0 if functional else 0x80) | len(data), target, self.tester]) + data
        return body + bytes([sum(body) % 256])

    def send(self, message: bytes) -> None:
        """Write and check the echo."""
        os.write(self.port, message)
        echo = self.read(len(message))
        if echo != message:
            raise RuntimeError(f"echo {echo.hex()} for {message.hex()}")

    def receive(self, limit_s: float = 1.0) -> bytes | None:
        head = self.read(1, limit_s)
        if not head:
            return None
        addresses = self.read(2) if head[0] & 0xC0 else b""
        length = self.read(1) if not head[0] & 0x3F else b""
        rest = self.read((length[0] if length else head[0] & 0x3F) + 1)
        whole = head + addresses + length + rest
        if sum(whole[:-1]) % 256 != whole[-1]:
            raise RuntimeError(f"checksum of {whole.hex()}")
        return rest[:-1]

    def fast_start(self) -> bytes | None:
        """00 at 360 baud is 25 ms low; then 25 ms high, then 81."""
        self.set_baud(360)
        start = time.monotonic()
        os.write(self.port, b"\x00")
        self.read(1)
        self.set_baud(10_400)
        time.sleep(max(0.0, start + 0.050 - time.monotonic()))
        return self.ask(b"\x81", pause_s=0.0)

    def ask(
        self, data: bytes, *, functional: bool = False, pause_s: float = 0.06, limit_s: float = 1.0
    ) -> bytes | None:
        time.sleep(pause_s)
        self.send(self.frame(data, functional=functional))
        return self.receive(limit_s)
